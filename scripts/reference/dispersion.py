"""Spread of a cloud along a pipe: published formulas, and the radial advection-diffusion problem solved numerically.

Taylor (1953, Proc. R. Soc. A 219, 186) and Aris (1956, Proc. R. Soc. A 235, 67) for laminar flow; Taylor (1954, Proc. R.
Soc. A 223, 446) for turbulent flow. The numerical side is Aris' moment method: the first two axial moments of the cloud obey
radial diffusion equations without approximation; they are solved on rings of equal width.
"""
import math

import numpy as np
from scipy.linalg import solve_banded

import networks
import scipy_network


def rings(n):
    """Ring areas (unit pipe area), the radial diffusion operator and the laminar velocity (mean 1) averaged on each."""
    edge = np.linspace(0.0, 1.0, n + 1)
    area = edge[1:] ** 2 - edge[:-1] ** 2
    u = 2 - (edge[1:] ** 2 + edge[:-1] ** 2)
    # Flux between rings, per unit diffusivity and per unit pipe area / pi: 2 r dC/dr
    g = 2 * edge[1:-1] * n
    return area, u, g


def taylor_coefficient(n=2000):
    """The 1/48: steady second-moment growth, (K - D) D / (a^2 U^2)."""
    area, u, g = rings(n)
    source = (u - 1) * area
    # Integrate flux outward, then the profile; the additive constant does not matter against u - 1.
    flux = np.cumsum(source)[:-1]
    profile = np.concatenate([[0.0], np.cumsum(flux / g)])
    return -float(np.sum(source * profile))


def variance(times, n=400, steps=4000):
    """Variance of position / a^2 Pe^2 (axial diffusion apart) at dimensionless times D t / a^2, cloud uniform across the
    bore at first: 2 t / 48 - small when t is large, t^2 / 3 when small. Trapezium steps, graded in time."""
    area, u, g = rings(n)
    m1, m2, t = np.zeros(n), 0.0, 0.0
    out = []
    low, up = np.concatenate([[0.0], g]) / area, np.concatenate([g, [0.0]]) / area
    diag = -(low + up)
    for end in times:
        dt = (end - t) / steps
        ab = np.zeros((3, n))
        ab[0, 1:], ab[1], ab[2, :-1] = -dt / 2 * up[:-1], 1 - dt / 2 * diag, -dt / 2 * low[1:]
        for _ in range(steps):
            lap = diag * m1
            lap[:-1] += up[:-1] * m1[1:]
            lap[1:] += low[1:] * m1[:-1]
            new = solve_banded((1, 1), ab, m1 + dt / 2 * lap + dt * (u - 1))
            m2 += dt * float(np.sum(area * (u - 1) * (m1 + new)))
            m1 = new
        t = end
        out.append(m2)
    return out


def chain(samples=1_000_000, seed=19530219):
    """Arrivals through a laminar pipe with holes, by following parcels: in each run a parcel keeps its streamline, at each hole it
    is put on another one at random (by flow). A streamline's time is mean / (2 sqrt(1 - U)), U even in 0 to 1."""
    case = next(c for c in networks.cases() if c["name"] == "laminar")
    flows = scipy_network.System(case, law="churchill").solve()["segments"]
    rng = np.random.Generator(np.random.PCG64(seed))
    t = np.full(samples, case["inlets"][0]["volume"] / flows[0] + case["unit"]["volume"] / flows[0])
    out = []
    for s, q in zip(case["segments"], flows):
        mean = math.pi * s["bore"] ** 2 / 4 * s["length"] / q
        t += mean / 2 / np.sqrt(1 - rng.random(samples))
        low, first, half, high = np.quantile(t, [0.158655, 0.01, 0.5, 0.841345])
        out.append([first, half, (high - low) / 2])
    return {"case": case, "first_half_spread": out}


def make():
    c = taylor_coefficient()
    assert abs(c * 48 - 1) < 1e-5, c
    times = [0.001, 0.01, 0.1, 1.0, 2.0, 5.0, 10.0, 30.0]
    v = variance(times)
    assert abs(v[0] / (times[0] ** 2 / 3) - 1) < 0.05
    assert abs((v[-1] - v[-2]) / (times[-1] - times[-2]) / (2 / 48) - 1) < 1e-4
    return {"taylor_coefficient": c, "time": times, "variance": v, "chain": chain()}
