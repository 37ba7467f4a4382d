"""Worked examples of a textbook, recomputed by hand-made arithmetic before they are used.

White, F. M., Fluid Mechanics, McGraw-Hill, chapter 6 of the 7th edition (statements and answers from memory; each answer is
recomputed here and has to agree to the digits printed). The fluids are liquids: the engine is given the same
kinematic viscosity and the same pressure over density.
"""
import math

from scipy.optimize import brentq

from friction import colebrook

G = 9.81


def pipe_flow(gh, bore, length, rough, nu):
    """Flow at which a pipe loses gh (m2/s2), by Colebrook or Hagen-Poiseuille; the flow alone is unknown."""
    area = math.pi * bore**2 / 4

    def misfit(v):
        re = v * bore / nu
        f = 64 / re if re < 2300 else colebrook(re, rough / bore)
        return f * length / bore * v * v / 2 - gh

    return area * brentq(misfit, 1e-6, 1e3, xtol=1e-15)


def make():
    """Examples: pipes between two points, gh in m2/s2 (= Pa at 1 kg/m3), flow in m3/s as printed and as recomputed."""
    out = []

    def add(name, pipes, join, gh, nu, printed, tolerance, flow):
        assert abs(flow / printed - 1) < tolerance, (name, flow, printed)
        out.append({"name": name, "pipes": pipes, "join": join, "gh": gh, "nu": nu, "printed": printed, "tolerance": tolerance, "flow": flow})

    # Example on laminar flow uphill: oil, 900 kg/m3, 0.0002 m2/s, 6 cm, 10 m at 40 degrees, 350 kPa to 250 kPa.
    gh = (350e3 - 250e3) / 900 - 9.807 * 10 * math.sin(math.radians(40))
    q = math.pi * 0.06**4 * gh / (128 * 0.0002 * 10)
    add("white_laminar_oil", [[10.0, 0.06, 0.0]], "series", gh, 0.0002, 0.0076, 0.01, q)
    # Example 6.9: oil, 950 kg/m3, 2e-5 m2/s, 30 cm, 100 m, e/d = 0.0002, head loss 8 m: V = 4.84 m/s, Q = 0.342 m3/s.
    gh = 8 * G
    add("white_oil_8_m", [[100.0, 0.3, 0.3 * 0.0002]], "series", gh, 2e-5, 0.342, 0.01, pipe_flow(gh, 0.3, 100.0, 0.3 * 0.0002, 2e-5))
    # 200 ft of 6-in asphalted cast iron (0.0004 ft), water of 1.076e-5 ft2/s at 6 ft/s: head loss 4.5 ft.
    ft = 0.3048
    gh, nu = 4.5 * 32.2 * ft * ft, 1.076e-5 * ft * ft
    q = 6 * ft * math.pi * (0.5 * ft) ** 2 / 4
    add("white_asphalted_iron", [[200 * ft, 0.5 * ft, 0.0004 * ft]], "series", gh, nu, q, 0.02, pipe_flow(gh, 0.5 * ft, 200 * ft, 0.0004 * ft, nu))
    # Three pipes in series: 150 kPa and 5 m downhill (20.3 m in all), water, 1.02e-6 m2/s: Q = 10.2 m3/h.
    pipes = [[100.0, 0.08, 0.24e-3], [150.0, 0.06, 0.12e-3], [80.0, 0.04, 0.20e-3]]
    gh, nu = 150e3 / 1000 + 5 * G, 1.02e-6

    def lost(q):
        total = 0.0
        for length, bore, rough in pipes:
            v = q / (math.pi * bore**2 / 4)
            total += colebrook(v * bore / nu, rough / bore) * length / bore * v * v / 2
        return total - gh

    add("white_three_in_series", pipes, "series", gh, nu, 10.2 / 3600, 0.01, brentq(lost, 1e-4, 1e-1, xtol=1e-16))
    # The same three in parallel under the same 20.3 m: 62.5 + 25.9 + 11.4 = 99.8 m3/h.
    gh = 20.3 * G
    parts = [pipe_flow(gh, b, n, r, nu) for n, b, r in pipes]
    for part, printed in zip(parts, (62.5, 25.9, 11.4)):
        assert abs(part * 3600 / printed - 1) < 0.01
    add("white_three_in_parallel", pipes, "parallel", gh, nu, 99.8 / 3600, 0.01, sum(parts))
    return out
