"""Steady air through an invented site: pipes, holes, inlets and a fan, by characteristic curves.

Each pipe is marched from its far end for a whole range of suctions at once, which gives its flow against the suction at its inlet;
then one root finds the suction of the manifold at which the pipes draw what the fan moves. Friction: laminar and Haaland's
law (J. Fluids Eng. 105 (1983) 89), blended between Re 2000 and 3500. Not here: time, smoke, sensors.
"""
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

RHO, MU = 1.1989, 1.818e-5  # air of 20 degC, 1013.25 hPa, 50 %
BORE, ROUGHNESS, DISCHARGE = 21e-3, 1.5e-6, 0.65
BEND_K = 0.30
L_MIN = 1 / 60_000  # m3/s
SUCTIONS = np.concatenate([[0.0], np.geomspace(1e-3, 600, 1500)])


@dataclass
class Pipe:
    """Lengths (m) with a hole (diameter, m) at the far end of each; the last hole is the end cap's."""

    lengths: list[float]
    holes: list[float]
    bends: int
    closed: set[int] = field(default_factory=set)
    shut: bool = False  # its inlet is held shut
    off: bool = False  # pulled out of its inlet, which then draws from the room


@dataclass
class Flow:
    """A steady state: m3/s."""

    inlets: list[float]
    holes: list[list[float]]  # by pipe and hole
    total: float


def friction(q):
    """Darcy's factor."""
    re = np.maximum(4 * RHO * np.abs(q) / (np.pi * BORE * MU), 1e-6)
    haaland = (-1.8 * np.log10((ROUGHNESS / BORE / 3.7) ** 1.11 + 6.9 / np.maximum(re, 1000))) ** -2
    w = np.clip((re - 2000) / 1500, 0, 1)
    w = w * w * (3 - 2 * w)
    return (1 - w) * 64 / re + w * haaland


def orifice(diameter, dp, discharge=DISCHARGE):
    """Flow through a hole."""
    return discharge * np.pi / 4 * diameter**2 * np.sqrt(2 * np.maximum(dp, 0) / RHO)


def loss(q, at, linear, quadratic):
    """What a part of the unit takes: stated at a flow `at`, L/min."""
    x = q / (at * L_MIN)
    return linear * x + quadratic * x * x


def inlet_loss(q):
    return loss(q, 40, 1.5, 5.0)


def fan_pressure(q, speed):
    """The fan's pressure, by the affinity laws; the same formula gave the points in pipework.toml."""
    return 380 * speed**2 * (1 - (q / max(speed, 1e-6) / (190 * L_MIN)) ** 1.8) if q > 0 else 380 * speed**2


def head(pipe: Pipe):
    """For each of SUCTIONS at the far end: suction behind the inlet, flow, flow of each hole."""
    area = np.pi / 4 * BORE**2
    suction, q, holes = SUCTIONS.copy(), np.zeros_like(SUCTIONS), []
    last = len(pipe.holes) - 1
    for i in range(last, -1, -1):
        drawn = np.zeros_like(q) if i in pipe.closed else orifice(pipe.holes[i], suction)
        before, q = q, q + drawn
        holes.insert(0, drawn)
        if i < last:  # air that joins from the side is brought to speed
            suction = suction + RHO * (q * q - before * before) / area**2
        k = friction(q) * pipe.lengths[i] / BORE + (BEND_K * pipe.bends if i == 0 else 0)
        suction = suction + k * RHO * (q / area) ** 2 / 2
    return suction + inlet_loss(q), q, holes


class Network:
    """Pipes in inlets 1, 2 ...; further inlets are plugged or leak."""

    def __init__(self, pipes, inlets, scatter, speeds):
        self.pipes, self.inlets, self.speeds = pipes, inlets, speeds
        self.leaks: dict[int, float] = {}  # inlet index: diameter of an equal hole
        for pipe in pipes:
            common = scatter.normal(1, 0.008)
            pipe.holes = [d * common * scatter.normal(1, 0.01) for d in pipe.holes]
        self.known: dict = {}

    def key(self, speed, mounted):
        return (round(speed, 3), mounted, tuple(sorted(self.leaks.items()))) + tuple(
            (frozenset(p.closed), p.shut, p.off) for p in self.pipes
        )

    def at(self, speed, mounted=True) -> Flow:
        """The flows at a share of the fan's full speed; `mounted` is false on the bench, where the inlets are open."""
        key = self.key(speed, mounted)
        if key not in self.known:
            self.known[key] = self.solve(speed, mounted)
        return self.known[key]

    def curves(self, mounted):
        plugged = (SUCTIONS, np.zeros_like(SUCTIONS), None)
        for i in range(self.inlets):
            pipe = self.pipes[i] if i < len(self.pipes) else None
            if pipe is not None and pipe.shut:
                yield plugged
            elif not mounted or (pipe is not None and pipe.off):
                q = orifice(BORE, SUCTIONS, 0.8)
                yield SUCTIONS + inlet_loss(q), q, None
            elif pipe is not None:
                yield head(pipe)
            elif i in self.leaks:
                q = orifice(self.leaks[i], SUCTIONS)
                yield SUCTIONS + inlet_loss(q), q, None
            else:
                yield plugged

    def solve(self, speed, mounted) -> Flow:
        curves = list(self.curves(mounted))
        none = Flow([0.0] * self.inlets, [[0.0] * len(p.holes) for p in self.pipes], 0.0)
        if speed < 0.02:
            return none

        def drawn(suction):
            return sum(np.interp(suction, s, q) for s, q, _ in curves)

        def rest(suction):
            q = drawn(suction)
            return fan_pressure(q, speed) - loss(q, 100, 11, 24) - loss(q, 100, 0, 5) - suction

        suction = brentq(rest, 0.0, 400.0)
        flow = Flow([float(np.interp(suction, s, q)) for s, q, _ in curves], [], 0.0)
        flow.total = sum(flow.inlets)
        for i, pipe in enumerate(self.pipes):
            s, _, holes = curves[i]
            flow.holes.append([float(np.interp(suction, s, h)) for h in holes] if holes else [0.0] * len(pipe.holes))
        return flow
