"""Probabilities of conformity and global risks (JCGM 106) by scipy's own distributions and cubature."""

import numpy as np
from scipy import integrate, stats


def conformity(y, u, dof, lower, upper):
    d = stats.norm(y, u) if dof is None else stats.t(dof, y, u)
    below = d.cdf(lower) if lower is not None else 0.0
    above = d.sf(upper) if upper is not None else 0.0
    return float(1 - below - above)


def global_risk(mean, sd, u, limits, accept):
    """Consumer's and producer's global risk as rectangles of the joint normal of true and measured value."""
    joint = stats.multivariate_normal([mean, mean], [[sd**2, sd**2], [sd**2, sd**2 + u**2]])
    far = 12 * np.hypot(sd, u)
    edge = lambda v, other: other if v is None else v
    lo, hi = edge(limits[0], mean - far), edge(limits[1], mean + far)
    a, b = edge(accept[0], mean - far), edge(accept[1], mean + far)
    prior, reading = stats.norm(mean, sd), lambda eta: stats.norm(eta, u)
    accepted = lambda eta: reading(eta).cdf(b) - reading(eta).cdf(a)
    inside = integrate.quad(lambda e: prior.pdf(e) * (1 - accepted(e)), lo, hi, epsabs=1e-13, limit=400)[0]
    outside = sum(
        integrate.quad(lambda e: prior.pdf(e) * accepted(e), p, q, epsabs=1e-13, limit=400)[0]
        for p, q in ((mean - far, lo), (hi, mean + far))
    )
    # The same as rectangles, to the accuracy of the bivariate distribution function.
    both = joint.cdf([hi, b], lower_limit=[lo, a])
    assert abs(both - (prior.cdf(hi) - prior.cdf(lo) - inside)) < 1e-5
    return float(outside), float(inside)


def make():
    cases = [
        (5.47, 0.05, None, 5.40, None),
        (509.7, 8.6, None, 490.0, None),
        (100.0, 10.0, None, 90.0, 115.0),
        (100.0, 10.0, 4.0, 90.0, 115.0),
        (104.2, 6.0, 2.0, None, 120.0),
        (119.0, 2.0, 8.5, None, 120.0),
        (1.5, 0.02, 12.0, 1.47, 1.53),
        (0.8, 0.3, None, 0.0, 0.5),
    ]
    risks = [
        (1500.0, 0.12, 0.04, (1499.8, 1500.2), (1499.82, 1500.18)),
        (1500.0, 0.12, 0.04, (1499.8, 1500.2), (1499.8, 1500.2)),
        (60.0, 20.0, 4.0, (None, 90.0), (None, 82.0)),
        (40.0, 3.0, 1.0, (35.0, None), (36.0, None)),
    ]
    return {
        "conformity": [[*c, conformity(*c)] for c in cases],
        "global": [[m, s, u, *limits, *accept, *global_risk(m, s, u, limits, accept)] for m, s, u, limits, accept in risks],
    }
