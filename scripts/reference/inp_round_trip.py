"""Networks in EPANET's text format through the tool and through EPANET: `python3 scripts/reference/inp_round_trip.py BIN [count]`.

Random trees and rings of air pipes are written as `.inp` in several units, solved by EPANET itself (owa-epanet) and, as `plumeline new
--from-inp` reads them, by `plumeline predict`. Flows of all emitters must agree to 1 in 1000: EPANET's gravity (32.2 ft/s2)
and its constant of minor losses are rounded, and its own stopping rule is looser than that.
"""
import json
import os
import random
import subprocess
import sys
import tempfile

from epanet import toolkit as en

# Flow unit: m3/s, metres of a length, of a diameter, of a roughness, customary?
UNITS = {"LPM": (1e-3 / 60, 1.0, 1e-3, 1e-3, False), "CMH": (1 / 3600, 1.0, 1e-3, 1e-3, False), "LPS": (1e-3, 1.0, 1e-3, 1e-3, False),
         "GPM": (3.785411784e-3 / 60, 0.3048, 0.0254, 0.3048e-3, True), "CFS": (0.3048**3, 0.3048, 0.0254, 0.3048e-3, True)}
GRAVITY, VISCOSITY = 0.0012, 15.0


def network(dice, unit):
    flow, length, bore, rough, customary = UNITS[unit]
    count = dice.randint(2, 20)
    junctions = [f"J{i} 0 0" for i in range(count)]
    pipes, emitters = [], []
    line = lambda a, b: f"P{len(pipes)} {a} {b} {dice.uniform(2, 8) / length:.6f} {dice.uniform(0.018, 0.025) / bore:.6f} {1.5e-6 / rough:.8f} {dice.choice([0, 0.5, 1.5])} Open"
    for i in range(count):
        at = "R" if i == 0 else f"J{i - 1 if dice.random() < 0.8 else dice.randrange(i)}"
        pipes.append(line(at, f"J{i}"))
    if count > 6 and dice.random() < 0.5:
        pipes.append(line(f"J{count - 1}", f"J{count // 2}"))
    for i in range(count):
        # 3 mm hole: 0.65 x 7.07e-6 m2; flow at one metre or psi of the fluid.
        ca = 0.65 * 7.07e-6 * dice.uniform(0.7, 1.6)
        per_unit = (1 / (0.4333 * GRAVITY) * 0.3048) if customary else 1.0
        emitters.append(f"J{i} {ca * (2 * 9.80665 * per_unit) ** 0.5 / flow:.9f}")
    suction = dice.uniform(100, 300)
    head = suction / (GRAVITY * 999.552 * 9.80665) / length
    return "\n".join(["[TITLE]", f"random {unit}", "[JUNCTIONS]", *junctions, "[RESERVOIRS]", f"R {head:.9f}", "[PIPES]", *pipes, "[EMITTERS]", *emitters,
                      "[OPTIONS]", f"UNITS {unit}", "HEADLOSS D-W", f"SPECIFIC GRAVITY {GRAVITY}", f"VISCOSITY {VISCOSITY}", "TRIALS 500", "ACCURACY 0.000001",
                      "[TIMES]", "DURATION 0", "[END]", ""]), count


def by_epanet(text, count, unit):
    with tempfile.TemporaryDirectory() as work:
        path = os.path.join(work, "net.inp")
        open(path, "w").write(text)
        ph = en.createproject()
        en.open(ph, path, os.path.join(work, "net.rpt"), os.path.join(work, "net.out"))
        en.openH(ph)
        en.initH(ph, 0)
        en.runH(ph)
        flows = [en.getnodevalue(ph, en.getnodeindex(ph, f"J{i}"), en.EMITTERFLOW) * UNITS[unit][0] for i in range(count)]
        en.closeH(ph)
        en.close(ph)
        en.deleteproject(ph)
        return flows


def by_tool(binary, text):
    with tempfile.TemporaryDirectory() as work:
        path, job = os.path.join(work, "net.inp"), os.path.join(work, "job")
        open(path, "w").write(text)
        subprocess.run([binary, "new", job, "--from-inp", path, "--site", "x", "--technician", "y"], check=True, capture_output=True, stdin=subprocess.DEVNULL)
        out = subprocess.run([binary, "predict", os.path.join(job, "pipework.toml"), "--json", "--draws", "100"], check=True, capture_output=True, text=True)
        return [o["flow_m3_s"]["value"] for o in json.loads(out.stdout)["openings"]]


def main():
    binary, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 50
    dice, worst = random.Random(7), 0.0
    for n in range(count):
        unit = list(UNITS)[n % len(UNITS)]
        text, junctions = network(dice, unit)
        a, b = by_epanet(text, junctions, unit), by_tool(binary, text)
        off = max(abs(x - y) for x, y in zip(a, b)) / max(abs(x) for x in a)
        worst = max(worst, off)
        if off > 1e-3:
            print(n, unit, junctions, off)
    print(f"{count} networks, farthest apart: {worst:.2e} of the largest flow")
    sys.exit(worst > 1e-3)


if __name__ == "__main__":
    main()
