"""Propagation of tolerances through one small network: Monte Carlo (JCGM 101:2008) with numpy and the scipy solve, and
the linear propagation of JCGM 100:2008 from central differences of the same solve.

Every input is a factor 1 + common + individual, normal, on its nominal value, with the relative standard uncertainties below;
the common part is one draw for all facts of a kind.
"""
import copy

import numpy as np

import networks
import scipy_network
import transport

DRAWS, SEED = 10_000, 20080101
# Kind: (common, individual).
KNOWN = {"diameter": (0.015, 0.02), "discharge": (0.04, 0.01), "bore": (0.01, 0.005), "length": (0.01, 0.02),
         "roughness": (0.2, 0.05), "minor_k": (0.1, 0.2)}
MODEL = {"density": 0.01, "viscosity": 0.02, "friction": 0.03, "unit_loss": 0.1, "unit_volume": 0.1}
FAN_PRESSURE = 0.03


def network():
    """Two unequal pipes on one fan."""
    n = networks.Net("two_small_pipes", "two unequal pipes on one fan, for propagation of tolerances")
    for p, (count, mm) in enumerate([(4, 3.5), (6, 3.0)]):
        n.run(n.inlet(), count, 6.0, mm, cap=4.0, pipe=p, k=0.4, rough=2e-5)
    return n.case


def inputs(case):
    """Each input: (kind, index or None, relative standard uncertainty); common inputs first."""
    segments, openings = range(len(case["segments"])), range(len(case["openings"]))
    where = {"diameter": openings, "discharge": openings, "bore": segments, "length": segments, "roughness": segments, "minor_k": segments}
    common = [(k, None, u[0]) for k, u in KNOWN.items()] + [(k, None, u) for k, u in MODEL.items()] + [("fan", None, FAN_PRESSURE)]
    return common + [(k, i, KNOWN[k][1]) for k in KNOWN for i in where[k]]


def perturbed(case, what, by):
    """The case with each input's relative change applied; common and individual changes of a fact add."""
    change = {}
    for (kind, index, _), d in zip(what, by):
        change[kind, index] = change.get((kind, index), 0.0) + d
    c = copy.deepcopy(case)

    def factor(kind, index=None):
        return 1 + change[kind, None] + (change[kind, index] if index is not None else 0.0)

    for i, o in enumerate(c["openings"]):
        for kind in ("diameter", "discharge"):
            o[kind] *= factor(kind, i)
    for i, s in enumerate(c["segments"]):
        for kind in ("bore", "length", "roughness", "minor_k"):
            s[kind] *= factor(kind, i)
    density, viscosity, unit = factor("density"), factor("viscosity"), factor("unit_loss")
    c["density"] *= density
    c["viscosity"] *= viscosity
    for owner, key in [(i, "loss") for i in c["inlets"]] + [(c["unit"], "loss"), (c["unit"], "exhaust_loss")]:
        linear, quadratic = owner[key]
        owner[key] = [linear * viscosity * unit, quadratic * density * unit]
    for owner in [*c["inlets"], c["unit"]]:
        owner["volume"] *= factor("unit_volume")
    c["unit"]["fan"]["points"] = [[q, p * factor("fan")] for q, p in c["unit"]["fan"]["points"]]
    c["friction"] = factor("friction")
    return c


def measurables(case, start):
    """Flow of each inlet, flow of each opening, mean time of each opening."""
    system = scipy_network.System(case, law="churchill")
    system.at_start = start
    r = system.solve(check=False)
    assert r["residual"] < 1e-11
    inlet = [sum(f for s, f in zip(case["segments"], r["segments"]) if s["near"] == i["node"]) for i in case["inlets"]]
    return np.concatenate([inlet, r["openings"], transport.times(case, r["openings"], r["segments"])]), r["x"]


def shortest(values):
    """Shortest interval that covers 95 % of the draws (JCGM 101, 5.3.4)."""
    v = np.sort(values)
    keep = int(np.ceil(0.95 * len(v)))
    width = v[keep - 1 :] - v[: len(v) - keep + 1]
    i = int(np.argmin(width))
    return [v[i], v[i + keep - 1]]


def make():
    case = network()
    what = inputs(case)
    u = np.array([x[2] for x in what])
    n_inlets, n_openings = len(case["inlets"]), len(case["openings"])
    nominal, start = measurables(perturbed(case, what, np.zeros(len(u))), None)
    h = 1e-4
    gradient = []
    for i in range(len(u)):
        step = np.zeros(len(u))
        step[i] = h
        gradient.append((measurables(perturbed(case, what, step), start)[0] - measurables(perturbed(case, what, -step), start)[0]) / (2 * h))
    parts = np.array(gradient) * u[:, None]
    is_common = np.array([x[1] is None for x in what])
    common = np.sqrt(np.sum(parts[is_common] ** 2, axis=0))
    individual = np.sqrt(np.sum(parts[~is_common] ** 2, axis=0))
    covariance = (parts.T @ parts)[:n_inlets, :n_inlets]
    rng = np.random.Generator(np.random.PCG64(SEED))
    draws = np.array([measurables(perturbed(case, what, rng.standard_normal(len(u)) * u), start)[0] for _ in range(DRAWS)])
    return {
        "case": case, "known": KNOWN, "model": MODEL, "fan_pressure": FAN_PRESSURE, "draws": DRAWS,
        "inlets": n_inlets, "openings": n_openings,
        "nominal": nominal, "linear_common": common, "linear_individual": individual, "linear_inlet_covariance": covariance,
        # Derivatives by each fact, and by what is common to all of a model kind: [kind, index or None, one per measurable].
        "gradients": [[k, i, list(g)] for (k, i, _), g in zip(what, gradient) if i is not None or k not in KNOWN],
        "monte_carlo_u": draws.std(axis=0, ddof=1),
        "monte_carlo_inlet_covariance": np.cov(draws[:, :n_inlets].T), "monte_carlo_interval95": [shortest(d) for d in draws.T],
    }
