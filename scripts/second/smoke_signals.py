"""Smoke signals with known truth, made without a line of the measurement crate: how smoke travels (advection with
dispersion, laminar flow with mixing behind it, puffs, two arrivals), what a sensor makes of it, what disturbs it.

The noise-free course is worked out on a grid of 10 ms; the truth is read off that course. Not here: how well anybody does.
"""
import numpy as np
from scipy import signal, special

GRID_S = 0.01
SHARE = 0.1
STRENGTHS = {"12-30": (12, 30), "30-80": (30, 80), "80-300": (80, 300), "300-3000": (300, 3000)}
SHAPES = ["quick", "lag", "laminar", "dispersed", "puff", "laminar puff", "double", "two puffs"]
NOISES = ["white", "ar1", "two scales", "long memory", "drift", "purge", "wander", "spikes"]
BEFORE = ["8-15", "16-29", "30-80", "81-300"]


def inverse_gaussian(t, mean, peclet):
    """Share of a pulse that has passed after t: advection and dispersion in an open pipe."""
    shape = mean * peclet / 2.0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        root = np.sqrt(shape / t)
        log_second = 2.0 * shape / mean + special.log_ndtr(-root * (t / mean + 1.0))
        share = special.ndtr(root * (t / mean - 1.0)) + np.exp(log_second)
    return np.where(t > 0, share, 0.0)


def laminar(t, first):
    with np.errstate(divide="ignore"):
        return np.where(t > first, 1.0 - (first / np.maximum(t, first)) ** 2, 0.0)


def lagged(course, tau):
    """Through a well mixed volume."""
    if tau <= 0:
        return course
    keep = np.exp(-GRID_S / tau)
    return signal.lfilter([1.0 - keep], [1.0, -keep], course)


def course(shape, dice, grid, release):
    """Unit smoke at the sensor on the grid and how long it was released, s; 1 is what would stand there in the end."""
    t = grid - release
    arrival = dice.uniform(8, 70)
    hold = 1e9
    if shape in ("puff", "laminar puff", "two puffs"):
        hold = dice.uniform(10, 60)
    peclet = np.exp(dice.uniform(np.log(15), np.log(400)))
    if shape == "quick":
        one = (t > arrival).astype(float)
    elif shape == "lag":
        one = lagged((t > arrival).astype(float), dice.uniform(1, 12))
    elif shape in ("laminar", "laminar puff"):
        one = lagged(laminar(t, arrival), dice.uniform(0.3, 4))
    elif shape == "double":
        share, later = dice.uniform(0.25, 0.75), arrival * dice.uniform(1.2, 2.2)
        one = share * inverse_gaussian(t, arrival, peclet) + (1 - share) * inverse_gaussian(t, later, peclet)
    else:
        one = inverse_gaussian(t, arrival, peclet)
    gone = int(round(hold / GRID_S))
    if gone < len(one):
        one = one - np.concatenate([np.zeros(gone), one[:-gone]])
    if shape == "two puffs":
        again = int(round(dice.uniform(hold + 40, hold + 90) / GRID_S))
        if again < len(one):
            one = one + np.concatenate([np.zeros(again), one[:-again]])
    return lagged(one, dice.choice([0.0, 0.3, 1.0, 2.5])), hold


def fractional(n, d, dice):
    """Noise with long memory: fractional differences (Granger and Joyeux 1980)."""
    k = np.arange(1, n)
    weights = np.concatenate([[1.0], np.cumprod((k - 1 + d) / k)])
    noise = signal.fftconvolve(dice.standard_normal(2 * n), weights)[n : 2 * n]
    return noise / noise.std()


def ar1(n, rho, dice):
    return signal.lfilter([np.sqrt(1 - rho * rho)], [1, -rho], dice.standard_normal(n + 200))[200:]


def disturbance(kind, t, release, rate, dice):
    """Noise of standard deviation 1 (single readings, what is smooth left out) and what is added beside it."""
    n, white = len(t), dice.standard_normal(len(t))
    if kind == "ar1":
        # Correlated over 0.3 to 3 s, and never less than a third from reading to reading.
        return ar1(n, np.clip(np.exp(-1 / (rate * dice.uniform(0.3, 3))), 0.33, 0.9), dice)
    if kind == "two scales":
        slow = ar1(n, np.exp(-1 / (rate * dice.uniform(3, 15))), dice)
        return 0.8 * white + 0.6 * slow
    if kind == "long memory":
        return fractional(n, dice.uniform(0.2, 0.4), dice)
    if kind == "drift":
        return white + dice.uniform(-3, 3) * (t - t[0]) / 60
    if kind == "purge":
        return white + dice.uniform(3, 60) * np.exp(-(t - t[0]) / (0.25 * (release - t[0]) * dice.uniform(0.5, 1.5)))
    if kind == "wander":
        return white + dice.uniform(0.5, 1.5) * np.sin(2 * np.pi * t / dice.uniform(200, 900) + dice.uniform(0, 6.3))
    if kind == "spikes":
        hit = dice.random(n) < 0.01
        return white + np.where(hit, dice.uniform(8, 60, n), 0.0)
    return white


def truths(smoke, grid, release, hold):
    """Plateau of the first puff, and when the course first reaches shares of it, s of the record."""
    first_end = len(smoke)
    if hold < 1e8:
        # The first puff ends where it has fallen to half of its highest.
        top = int(np.argmax(smoke[: int((release + hold + 200) / GRID_S)]))
        fallen = np.nonzero(smoke[top:] < 0.5 * smoke[top])[0]
        first_end = top + (int(fallen[0]) if len(fallen) else len(smoke) - top)
    plateau = float(smoke[:first_end].max())

    def reach(share):
        i = max(int(np.argmax(smoke >= share * plateau)), 1)
        part = (share * plateau - smoke[i - 1]) / (smoke[i] - smoke[i - 1])
        return float(grid[i - 1] + GRID_S * part)

    return plateau, {"1": reach(0.01), "5": reach(0.05), "10": reach(0.1), "50": reach(0.5)}


class Family:
    """What smoke does, what disturbs it, and the shares of cases that are clipped."""

    shapes, noises, clipped = SHAPES, NOISES, 0.06
    course, disturbance = staticmethod(course), staticmethod(disturbance)


def make(dice, shape=None, noise=None, strength=None, before=None, family=Family):
    """One case; `shape` "none" is a record without smoke."""
    shape = shape or dice.choice(family.shapes)
    noise = noise or dice.choice(family.noises)
    strength = strength or dice.choice(list(STRENGTHS))
    before = before or dice.choice(BEFORE)
    rate = float(dice.choice([0.1, 0.5, 1, 1, 2, 5, 10], p=[0.04, 0.1, 0.25, 0.25, 0.16, 0.1, 0.1]))
    low, high = (int(v) for v in before.split("-"))
    n_before = int(dice.integers(low, high + 1))
    release = n_before / rate
    long = dice.uniform(260, 420) if rate >= 0.5 else dice.uniform(600, 900)
    jitter = 0.05 / rate
    t = np.arange(int((release + long) * rate)) / rate
    t = np.round(t + dice.uniform(0, jitter, len(t)), 6)
    grid = np.arange(0, release + long + 1, GRID_S)
    amplitude, hold, smoke = 0.0, 1e9, np.zeros_like(grid)
    if shape != "none":
        amplitude = float(np.exp(dice.uniform(*np.log(STRENGTHS[strength]))))
        smoke, hold = family.course(shape, dice, grid, release)
        smoke = smoke * (amplitude / max(smoke.max(), 1e-12))
    free = np.interp(t, grid, smoke)
    values = free + family.disturbance(noise, t, release, rate, dice) + dice.uniform(0, 30)
    step = float(dice.choice([0.0, 0.5, 1.5, 5.0], p=[0.55, 0.2, 0.15, 0.1]))
    if step == 5.0 and amplitude < 60:
        step = 0.5
    ceiling = None
    if shape != "none" and dice.random() < family.clipped:
        ceiling = float(values[: max(n_before, 1)].mean() + amplitude * dice.uniform(0.3, 0.8))
        values = np.minimum(values, ceiling)
    if step:
        values = np.round(values / step) * step
        ceiling = ceiling and float(np.floor(ceiling / step) * step)
        values = values if ceiling is None else np.minimum(values, ceiling)
    case = {
        "shape": shape, "noise": noise, "strength": strength if amplitude else "none", "before": before,
        "rate": rate, "step": step, "clipped": ceiling is not None,
        "release": release, "t": t.tolist(), "y": np.round(values, 6).tolist(),
        "told": {"resolution": step if dice.random() < 0.5 else 0.0,
                 "full_scale": ceiling if ceiling and dice.random() < 0.5 else None,
                 "max_gap_s": max(3.0, 3.0 / rate)},
    }
    if amplitude:
        plateau, at = truths(smoke, grid, release, hold)
        high_for = float((smoke >= 0.8 * plateau).sum() * GRID_S)
        case["truth"] = {"plateau": plateau, "at": at, "high_for": high_for,
                         "risen_by_end": float(smoke[-1] / smoke.max()), "base": None}
        case["truth"]["course"] = [[round(float(g), 2), float(s)] for g, s in zip(grid[::25], smoke[::25])]
        case["detectable"] = bool(high_for >= max(8.0, 4.0 / rate))
    return case
