"""Friction laws of the reference solves, written from their publications, not from the engine.

Darcy friction factors f(Re, e/D), for Re > 0; numpy arrays or complex numbers (complex-step derivatives).
"""
import numpy as np

LN10 = np.log(10.0)


def churchill(re, rel):
    """Churchill, S. W. (1977), Friction-factor equation spans all fluid-flow regimes, Chem. Eng. 84(24), 91-92."""
    a = (2.457 * np.log(1.0 / ((7.0 / re) ** 0.9 + 0.27 * rel))) ** 16
    b = (37530.0 / re) ** 16
    return 8.0 * ((8.0 / re) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0)


def swamee_jain(re, rel):
    """Swamee, P. K. and Jain, A. K. (1976), Explicit equations for pipe-flow problems, J. Hydraul. Div. ASCE 102(5)."""
    return 0.25 / (np.log(rel / 3.7 + 5.74 / re**0.9) / LN10) ** 2


def dunlop(re, rel):
    """Dunlop, E. J. (1991): the cubic in Re between 2000 and 4000 that meets Hagen-Poiseuille and Swamee-Jain with
    equal value and slope; here built from those four conditions (cubic Hermite), not from tabulated coefficients."""
    f0, s0 = 64.0 / 2000.0, -64.0 / 2000.0**2
    arg = rel / 3.7 + 5.74 / 4000.0**0.9
    lg = np.log(arg) / LN10
    f1 = 0.25 / lg**2
    # d/dRe of 0.25 / lg^2
    s1 = -0.5 / lg**3 / (arg * LN10) * (-0.9 * 5.74 / 4000.0**1.9)
    h = 2000.0
    t = (re - 2000.0) / h
    return (
        f0 * (1 + 2 * t) * (1 - t) ** 2
        + h * s0 * t * (1 - t) ** 2
        + f1 * t * t * (3 - 2 * t)
        + h * s1 * t * t * (t - 1)
    )


def hagen_dunlop_swamee_jain(re, rel):
    """64/Re to Re 2000, the cubic to 4000, Swamee-Jain above: the set that EPANET 2 uses."""
    r = np.real(re)
    return np.where(r <= 2000.0, 64.0 / re, np.where(r < 4000.0, dunlop(re, rel), swamee_jain(np.where(r < 4000.0, 4000.0, re), rel)))


LAWS = {"churchill": churchill, "hagen_dunlop_swamee_jain": hagen_dunlop_swamee_jain}
