#!/usr/bin/env python3
"""Steady flows of small sampling pipeworks by EPANET, as reference for the simulator's march.

EPANET (US EPA, public domain; Python package owa-epanet) solves the same networks with the Darcy-Weisbach law, run
backwards: a reservoir at the unit pushes air out of the holes as emitters. Laws are odd in the flow, so the flows are
those of suction. Heads use EPANET's own g (32.2 ft/s2). Run from the repository's top:

    python3 scripts/make_simulator_reference.py
"""
import json
import math
import pathlib
import random
import tempfile

from epanet import toolkit as en

G = 32.2 * 0.3048
DENSITY, VISCOSITY = 1.2, 1.82e-5
BORE, ROUGHNESS_MM = 0.021, 0.0015
OUT = pathlib.Path("protocol-sim/simulator/tests/data/epanet.json")


def network(rng):
    pipes = []
    for _ in range(rng.randint(1, 4)):
        holes = rng.randint(2, 20)
        pipes.append(
            {
                "length_m": [round(rng.uniform(2, 9), 3) for _ in range(holes)],
                "hole_m": [round(rng.uniform(0.002, 0.005), 5) for _ in range(holes)],
            }
        )
    return {"suction_pa": round(rng.uniform(60, 400), 2), "pipes": pipes}


def inp(net, discharge):
    junctions, emitters, lines = [], [], []
    for i, pipe in enumerate(net["pipes"]):
        near = "R"
        for k, (length, hole) in enumerate(zip(pipe["length_m"], pipe["hole_m"])):
            name = f"J{i}_{k}"
            junctions.append(f"{name} 0 0")
            area = math.pi / 4 * hole**2
            # q (L/s) = C h^0.5
            emitters.append(f"{name} {discharge * area * math.sqrt(2 * G) * 1000:.17g}")
            lines.append(f"P{i}_{k} {near} {name} {length} {BORE * 1000:.17g} {ROUGHNESS_MM} 0 Open")
            near = name
    head = net["suction_pa"] / (DENSITY * G)
    # EPANET takes viscosity relative to water at 20 degC, 1.1e-5 ft2/s.
    relative = VISCOSITY / DENSITY / (1.1e-5 * 0.3048**2)
    return "\n".join(
        ["[JUNCTIONS]", *junctions, "[RESERVOIRS]", f"R {head:.17g}", "[PIPES]", *lines, "[EMITTERS]", *emitters]
        + ["[OPTIONS]", "UNITS LPS", "HEADLOSS D-W", f"VISCOSITY {relative:.17g}", "EMITTER EXPONENT 0.5"]
        + ["TRIALS 500", "ACCURACY 1e-5", "[TIMES]", "DURATION 0", "[END]", ""]
    )


def solve(net, discharge):
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder, "n.inp")
        path.write_text(inp(net, discharge))
        project = en.createproject()
        en.open(project, str(path), str(path) + ".rpt", "")
        # EPANET takes no accuracy under 1e-5; these two go further.
        en.setoption(project, en.HEADERROR, 1e-9)
        en.setoption(project, en.FLOWCHANGE, 1e-10)
        en.solveH(project)
        flows = []
        for i, pipe in enumerate(net["pipes"]):
            links = [en.getlinkvalue(project, en.getlinkindex(project, f"P{i}_{k}"), en.FLOW) for k in range(len(pipe["hole_m"]))]
            flows.append([(a - b) / 1000 for a, b in zip(links, links[1:] + [0.0])])
        en.close(project)
        en.deleteproject(project)
        return flows


def main():
    rng = random.Random(20080912)
    nets = [network(rng) for _ in range(40)]
    for net in nets:
        net["hole_m3_s"] = solve(net, 0.65)
    OUT.parent.mkdir(parents=True, exist_ok=True)
    data = {
        "source": "EPANET 2.3.5 (owa-epanet), scripts/make_simulator_reference.py",
        "density": DENSITY,
        "viscosity": VISCOSITY,
        "bore_m": BORE,
        "roughness_m": ROUGHNESS_MM / 1000,
        "discharge": 0.65,
        "networks": nets,
    }
    OUT.write_text(json.dumps(data, indent=0) + "\n")
    print(f"{len(nets)} networks, {sum(len(p['hole_m']) for n in nets for p in n['pipes'])} holes")


main()
