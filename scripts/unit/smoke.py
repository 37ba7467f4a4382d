"""Smoke from a hole to the sensor: a histogram of ages, convolved stretch by stretch.

Each stretch of pipe has its own distribution of passage times: laminar by the parabolic profile (nothing crosses the bore),
turbulent a shifted gamma. A response to a step is the sum of the whole histogram; what the sensor sees is the sum over what
was released. A change of flow moves the smoke that is under way as well, which a real pipe would do more gradually.
"""
import numpy as np
from scipy.stats import gamma

from air import BORE, MU, RHO

STEP, SPAN = 0.2, 400.0
EDGES = np.arange(0.0, SPAN + STEP, STEP)
INLET_VOLUME, CHAMBER, LAG_S = 50e-6, 0.32e-3, 1.2


def passage(volume, q):
    """Shares of a stretch's air by their time of passage."""
    mean = volume / q
    re = 4 * RHO * q / (np.pi * BORE * MU)
    with np.errstate(divide="ignore"):
        laminar = np.where(EDGES > mean / 2, 1 - (mean / (2 * np.maximum(EDGES, 1e-9))) ** 2, 0.0)
    turbulent = gamma.cdf(EDGES - 0.88 * mean, 4, scale=0.03 * mean)
    w = np.clip((re - 2000) / 1500, 0, 1)
    return np.diff((1 - w) * laminar + w * turbulent)


def lag(seconds):
    return np.diff(1 - np.exp(-EDGES / max(seconds, 1e-6)))


def response(lengths, holes, hole, total):
    """The sensor's answer to a step at a hole: times are EDGES[1:]."""
    area = np.pi / 4 * BORE**2
    spectra = [np.fft.rfft(lag(CHAMBER / total), 2 * len(EDGES)), np.fft.rfft(lag(LAG_S), 2 * len(EDGES))]
    delay = INLET_VOLUME / max(sum(holes), 1e-9)
    for i in range(hole + 1):
        q = sum(holes[i:])
        if q < 1e-9:
            return np.zeros(len(EDGES) - 1)
        spectra.append(np.fft.rfft(passage(lengths[i] * area, q), 2 * len(EDGES)))
    shares = np.fft.irfft(np.prod(spectra, axis=0), 2 * len(EDGES))[: len(EDGES) - 1]
    rise = np.cumsum(shares)
    return np.interp(EDGES[1:] - delay, EDGES[1:], rise, left=0.0)


class Smoke:
    """What was released where, and what of it is at the sensor."""

    def __init__(self):
        self.releases = []  # [pipe, hole, extinction, from, to]
        self.known = {}

    def release(self, pipe, hole, extinction, now, seconds):
        self.stop(now, pipe, hole)
        self.releases.append([pipe, hole, extinction, now, now + seconds])

    def stop(self, now, pipe=None, hole=None):
        for r in self.releases:
            if pipe is None or (r[0], r[1]) == (pipe, hole):
                r[4] = min(r[4], now)

    def at(self, now, pipes, flow):
        """Extinction (1/m) at the sensor."""
        self.releases = [r for r in self.releases if now - r[4] < SPAN]
        seen = 0.0
        for pipe, hole, extinction, start, end in self.releases:
            drawn = flow.holes[pipe][hole]
            if drawn <= 0 or flow.total <= 0:
                continue
            key = (pipe, hole, round(flow.total, 9), tuple(flow.holes[pipe]))
            if key not in self.known:
                self.known[key] = response(pipes[pipe].lengths, flow.holes[pipe], hole, flow.total)
            rise = self.known[key]
            upto = np.interp([now - start, now - end], EDGES[1:], rise, left=0.0)
            seen += extinction * drawn / flow.total * (upto[0] - upto[1])
        return seen
