"""Families of smoke and of noise beside those of `smoke_signals.py`, of which no figure of the crate was chosen: long tails, arrivals
in stairs, volumes in a row, averaging sensors, noise that swells, that is not normal, that jumps.
"""
import numpy as np
from scipy import signal, special

from smoke_signals import GRID_S, ar1, inverse_gaussian, lagged

SHAPES = ["long tail", "tanks", "apart", "stairs", "dead zone", "averaged", "logistic", "bell", "bends over"]
NOISES = ["white", "swells", "heavy", "uniform", "slow steps", "rising slowly", "ma", "held"]


def course(shape, dice, grid, release):
    """As `smoke_signals.course`."""
    t = grid - release
    arrival = dice.uniform(8, 70)
    hold = 1e9
    behind = np.maximum(t - arrival, 0.0)
    if shape == "long tail":
        # Residence times with a tail that falls as a power: an arrival, then dead volumes that give back slowly.
        part, scale = dice.uniform(0.4, 0.8), dice.uniform(3, 20)
        one = part * inverse_gaussian(t, arrival, np.exp(dice.uniform(3, 6))) + (1 - part) * (1 - (1 + behind / scale) ** -dice.uniform(0.8, 2.0))
    elif shape == "tanks":
        n = dice.integers(2, 9)
        one = special.gammainc(n, np.maximum(t, 0.0) * n / arrival)
    elif shape == "apart":
        # Two arrivals so far apart that there is a landing between them.
        share, later = dice.uniform(0.15, 0.85), arrival + dice.uniform(15, 60)
        one = share * inverse_gaussian(t, arrival, 300) + (1 - share) * inverse_gaussian(t, later, 300)
    elif shape == "stairs":
        one = np.zeros_like(t)
        sizes = dice.uniform(0.2, 1, dice.integers(3, 8))
        for i, size in enumerate(sizes / sizes.sum()):
            one += size * inverse_gaussian(t, arrival * (1 + 0.35 * i), 200)
    elif shape == "dead zone":
        # A chamber with a stagnant corner: two lags side by side.
        step, part = (t > arrival).astype(float), dice.uniform(0.5, 0.9)
        one = part * lagged(step, dice.uniform(0.3, 2)) + (1 - part) * lagged(step, dice.uniform(8, 30))
    elif shape == "averaged":
        window = int(dice.uniform(2, 12) / GRID_S)
        one = np.convolve((t > arrival).astype(float), np.full(window, 1.0 / window))[: len(t)]
    elif shape == "logistic":
        one = special.expit((t - arrival - 20) / dice.uniform(0.8, 5)) * (t > 0)
    elif shape == "bell":
        width = dice.uniform(6, 25)
        one, hold = np.exp(-(((t - arrival - 3 * width) / width) ** 2)) * (t > 0), 2 * width
    else:
        # Quick at first, then creeping: adsorption on the wall gives way.
        one = (1 - np.exp(-behind / dice.uniform(1, 5))) * (1 - 0.35 * np.exp(-behind / dice.uniform(20, 45)))
    return lagged(one, dice.choice([0.0, 0.3, 1.0, 2.5])), hold


def disturbance(kind, t, release, rate, dice):
    """As `smoke_signals.disturbance`."""
    n, white = len(t), dice.standard_normal(len(t))
    if kind == "heavy":
        return dice.standard_t(4, n) / np.sqrt(2.0)
    if kind == "uniform":
        return dice.uniform(-np.sqrt(3), np.sqrt(3), n)
    if kind == "slow steps":
        # The background jumps by a standard deviation now and then.
        return white + np.cumsum(np.where(dice.random(n) < 1 / (60 * max(rate, 0.5)), dice.choice([-0.7, 0.7], n), 0.0))
    if kind == "rising slowly":
        return white + dice.uniform(0.5, 2.5) * (t - t[0]) / 60
    if kind == "ma":
        return signal.lfilter(np.full(3, 1 / np.sqrt(3)), [1], dice.standard_normal(n + 9))[9:]
    if kind == "held":
        # Each value is told twice.
        return np.repeat(white, 2)[:n] if rate >= 1 else white
    if kind == "swells":
        return ar1(n, 0.3, dice) * (1 + 0.3 * np.sin(t / 47.0))
    return white


class Family:
    """As `smoke_signals.Family`."""

    shapes, noises, clipped = SHAPES, NOISES, 0.1
    course, disturbance = staticmethod(course), staticmethod(disturbance)
