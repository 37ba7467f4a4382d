"""Friction factors from library `fluids`, from EPANET itself, and from printed tables."""
import math

import numpy as np
from epanet import toolkit as en
from fluids import friction as ff
from scipy.optimize import brentq

import laws
from epanet_network import G, LENGTH, Project

RE = [1.0, 8.0, 64.0, 200.0, 500.0, 1000.0, 1500.0, 1999.0, 2000.0, 2100.0, 2300.0, 2500.0, 2800.0, 3000.0, 3300.0, 3600.0,
      3999.0, 4000.0, 4500.0, 5000.0, 6000.0, 8000.0, 1e4, 1.5e4, 2e4, 5e4, 1e5, 3e5, 1e6, 1e7, 1e8]
REL = [0.0, 1e-6, 7e-5, 5e-4, 2e-3, 0.01, 0.05]


def colebrook(re, rel):
    """Colebrook (1939), 1/sqrt f = -2 log10(e/3.7D + 2.51/(Re sqrt f)), bisected to the last digit."""
    x = brentq(lambda x: x + 2 * math.log10(rel / 3.7 + 2.51 * x / re), 0.5, 60.0, xtol=1e-15, rtol=1e-15)
    return 1 / x**2


def epanet_factors(points):
    """f that EPANET uses, measured: pipes of its own units, one demand each, friction factor from the head it loses."""
    nu, bore, length = 1.5e-5, 0.021, 100.0
    lines = {k: [] for k in "jrp"}
    for i, (re, rel) in enumerate(points):
        q = re * math.pi * bore * nu / 4 / LENGTH**3
        lines["r"].append(f"R{i} 0")
        lines["j"].append(f"J{i} 0 {q!r}")
        lines["p"].append(f"P{i} R{i} J{i} {length / LENGTH!r} {bore / LENGTH * 12!r} {max(rel, 1e-18) * bore / LENGTH * 1000!r} 0")
    text = "\n".join(["[JUNCTIONS]", *lines["j"], "[RESERVOIRS]", *lines["r"], "[PIPES]", *lines["p"], "[OPTIONS]", "UNITS CFS",
                      "HEADLOSS D-W", f"VISCOSITY {nu / LENGTH**2 / 1.1e-5!r}", "TRIALS 200", "ACCURACY 0.00001", "[END]", ""])
    project = Project(text)
    project.accuracy(1e-10, 1e-10)
    en.solveH(project.ph)
    out = []
    d, le = bore / LENGTH, length / LENGTH
    for i, (re, rel) in enumerate(points):
        h = -en.getnodevalue(project.ph, en.getnodeindex(project.ph, f"J{i}"), en.HEAD)
        v = re * nu / LENGTH**2 / d
        out.append(h * d * 2 * G / (le * v * v))
    project.close()
    return out


# White, F. M., Fluid Mechanics, smooth-wall friction factor against Re beside the Prandtl formula (from memory).
WHITE_SMOOTH = [(4e3, 0.0399), (1e4, 0.0309), (1e5, 0.0180), (1e6, 0.0116), (1e7, 0.0081), (1e8, 0.0059)]
# Crane, Technical Paper 410 (2009 edition), friction factor in complete turbulence for clean commercial steel, e = 0.0018 in.
# (from memory): inside diameter in inches (schedule 40), f_T.
CRANE_FT = [(0.622, 0.026), (0.824, 0.024), (1.049, 0.022), (1.380, 0.021), (1.610, 0.020), (2.067, 0.019), (3.068, 0.017),
            (4.026, 0.016), (6.065, 0.015), (7.981, 0.014), (10.02, 0.013)]


def agree(a, b, tolerance=1e-12):
    """Two routes to one value."""
    assert abs(a / float(b) - 1) < tolerance, (a, b)


def make():
    """The committed table; every value is first found alike by two routes. Churchill and Colebrook as `fluids` gives
    them, the third law as EPANET itself computes it."""
    names = ("churchill", "colebrook", "hagen_dunlop_swamee_jain")
    out = {"re": RE, "relative_roughness": REL, **{name: [] for name in names}}
    grid = [(re, rel) for rel in REL for re in RE]
    measured = dict(zip(grid, epanet_factors(grid)))
    for rel in REL:
        rows = {name: [] for name in names}
        for re in RE:
            f = ff.Churchill_1977(re, rel)
            agree(f, laws.churchill(re, rel))
            rows["churchill"].append(f)
            turbulent = re >= 4000
            c = ff.Colebrook(re, rel, tol=-1) if turbulent else None
            if turbulent:
                agree(c, colebrook(re, rel))
                # fluids writes the term as (6.97/Re)^0.9, which rounds the published 5.74/Re^0.9: 2e-5 apart.
                agree(ff.Swamee_Jain_1976(re, rel), laws.swamee_jain(re, rel), 1e-4)
            if re <= 2000:
                agree(ff.friction_laminar(re), laws.hagen_dunlop_swamee_jain(np.float64(re), rel))
            agree(measured[re, rel], laws.hagen_dunlop_swamee_jain(np.float64(re), rel), 1e-11)
            rows["colebrook"].append(c)
            rows["hagen_dunlop_swamee_jain"].append(measured[re, rel])
        for k, v in rows.items():
            out[k].append(v)
    out["printed_smooth"] = [list(p) for p in WHITE_SMOOTH]
    out["printed_rough"] = [[0.0018 / d, ft] for d, ft in CRANE_FT]
    for re, f in WHITE_SMOOTH:
        assert abs(colebrook(re, 0.0) - f) < 1e-4
    for d, f in CRANE_FT:
        assert abs(colebrook(1e12, 0.0018 / d) - f) < 6e-4
    return out

