"""Probabilities of conformity (JCGM 106) by scipy's own distributions."""

from scipy import stats


def conformity(y, u, dof, lower, upper):
    d = stats.norm(y, u) if dof is None else stats.t(dof, y, u)
    below = d.cdf(lower) if lower is not None else 0.0
    above = d.sf(upper) if upper is not None else 0.0
    return float(1 - below - above)


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
    return {"conformity": [[*c, conformity(*c)] for c in cases]}
