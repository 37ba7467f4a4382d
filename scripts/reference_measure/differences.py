"""Differences and shares of readings of one instrument: the law of propagation with the whole covariance matrix of the readings
(JCGM 100:2008, equation 13), its derivatives by central differences; and drawn, to see that nothing was left out."""

import numpy as np


def both(of, x, covariance):
    """Standard uncertainty of a function of correlated readings."""
    steps = 1e-6 * np.diag(np.abs(x))
    slopes = np.array([(of(x + s) - of(x - s)) / (2e-6 * abs(v)) for s, v in zip(steps, x)])
    return float(np.sqrt(max(slopes @ covariance @ slopes, 0.0)))


def one(rng):
    whole = rng.uniform(20, 90)
    x = np.array([whole * rng.uniform(0.97, 1.03), whole * rng.uniform(0.1, 0.95), whole])
    own = rng.uniform(0.02, 0.5, 3)
    offset, gain = rng.uniform(0.0, 1.0), rng.uniform(0.0, 0.05)
    common = offset**2 * np.ones((3, 3)) + gain**2 * np.outer(x, x)
    row = [*x, *own, offset, gain]
    for of in (lambda x: x[0] - x[1], lambda x: (x[0] - x[1]) / x[2]):
        parts = [both(of, x, common), both(of, x, np.diag(own**2))]
        draws = 100_000
        seen = x[:, None] * (1 + rng.normal(0, gain, draws)) + rng.normal(0, offset, draws) + rng.normal(0, 1, (3, draws)) * own[:, None]
        assert abs(np.std(of(seen)) / np.hypot(*parts) - 1) < 0.02, (row, parts)
        row += [float(of(x)), *parts]
    return [float(v) for v in row]


def make():
    rng = np.random.default_rng(21)
    # Ten resistors against one standard (JCGM 100, 5.2.2, example): u of the standard is 100 mohm, of each comparison nothing.
    one_standard = np.full((10, 10), 0.1**2)
    x = np.full(10, 1000.0)
    return {
        "rows": [one(rng) for _ in range(40)],
        "series": both(lambda x: x.sum(), x, one_standard),
        "two": both(lambda x: x[0] - x[1], x, one_standard),
    }
