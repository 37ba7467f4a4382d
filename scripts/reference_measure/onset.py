"""Smoke signals on which ruptures (change point) and scipy (fit of the true shape) place the onset: a tenth of the plateau."""

import warnings

import numpy as np
import ruptures
from scipy import optimize

RELEASE_S = 100.0
# Starts far from the onset overflow or fail to give a covariance; the best fit of all starts is kept.
warnings.simplefilter("ignore", optimize.OptimizeWarning)
np.seterr(over="ignore")


def rise(kind, t, t0, tau):
    s = np.maximum(t - t0, 0.0)
    if kind == "step":
        return (t >= t0).astype(float)
    if kind == "lag":
        return 1 - np.exp(-s / tau)
    return 1 - (tau / (tau + s)) ** 2


def tenth(kind, t0, tau, end):
    """When the fitted rise first reaches a tenth of the highest that it comes to by the end of the record."""
    share = 0.1 * rise(kind, np.array([end]), t0, tau)[0]
    if kind == "step":
        return t0
    return t0 + (-tau * np.log1p(-share) if kind == "lag" else tau * ((1 - share) ** -0.5 - 1))


def make():
    rng = np.random.default_rng(7)
    out = []
    for kind, tau, strength, step, drift in [
        ("step", 0, 12, 1.0, 0.0),
        ("step", 0, 40, 0.5, 0.01),
        ("step", 0, 20, 0.25, -0.01),
        ("lag", 4.0, 25, 0.5, 0.0),
        ("lag", 8.0, 60, 0.25, 0.005),
        ("laminar", 15.0, 30, 0.5, 0.0),
        ("laminar", 30.0, 60, 1.0, -0.01),
        ("laminar", 25.0, 40, 0.25, 0.0),
    ]:
        t = np.round(np.arange(0, 220, step) + step / 2, 6)
        onset = RELEASE_S + rng.uniform(20, 50)
        y = np.round(5 + drift * t + strength * rise(kind, t, onset, tau) + rng.standard_normal(len(t)), 6)
        case = {"kind": kind, "step": step, "true": float(tenth(kind, onset, tau, t[-1])), "t": t.tolist(), "y": y.tolist()}
        if kind == "step":
            # Exact search for one change of the mean: the first reading after it.
            flat = y - np.polyval(np.polyfit(t[t < RELEASE_S], y[t < RELEASE_S], 1), t)
            at = ruptures.Dynp(model="l2", min_size=2, jump=1).fit(flat).predict(n_bkps=1)[0]
            case["reference"] = float((t[at - 1] + t[at]) / 2)
        else:
            model = lambda t, t0, tau, a, b, c: a * rise(kind, t, t0, tau) + b + c * t
            best = None
            for guess in np.linspace(RELEASE_S + 10, RELEASE_S + 60, 26):
                try:
                    found, cov = optimize.curve_fit(model, t, y, [guess, tau, strength, 5, 0], maxfev=20000)
                except RuntimeError:
                    continue
                rss = float(np.sum((y - model(t, *found)) ** 2))
                if found[1] > 0 and (best is None or rss < best[0]):
                    best = rss, found, cov
            case["reference"] = float(tenth(kind, *best[1][:2], t[-1]))
            of = lambda p: tenth(kind, *p, t[-1])
            slopes = optimize.approx_fprime(best[1][:2], of, 1e-5)
            case["reference_u"] = float(np.sqrt(slopes @ best[2][:2, :2] @ slopes))
        out.append(case)
    return out
