"""Make the reference data that the airflow engine's tests read: `python3 scripts/reference/make.py [folder]`.

Run from the top of the repository with the packages of scripts/requirements.txt. Without a folder the committed data are
replaced. Every value is made by published formulas and general libraries, none by the engine.
"""
import json
import os
import sys
import warnings

import numpy as np

import air
import dispersion
import epanet_network
import friction
import monte_carlo
import networks
import scipy_network
import textbook
import transport

warnings.filterwarnings("ignore", message="WARNING")  # EPANET's "negative pressures": suction is all there is here
COMMITTED = "harness/airflow/tests/data"
FLOOR = 1e-6  # of the largest opening flow: smaller flows are not compared relatively


def short(x):
    """14 digits, plain ints kept; enough for comparisons at 1e-12."""
    if isinstance(x, (float, np.floating)):
        return float(f"{x:.14g}")
    if isinstance(x, (list, tuple, np.ndarray)):
        return [short(v) for v in x]
    if isinstance(x, dict):
        return {k: short(v) for k, v in x.items()}
    return x


def pack(case):
    """The case with its long lists as rows (the reader names the columns)."""
    rows = dict(case)
    rows["segments"] = [[s["near"], s["far"], int(s["kind"] == "capillary"), s["length"], s["bore"], s["roughness"], s["minor_k"], s.get("temperature")]
                        for s in case["segments"]]
    kinds = ["hole", "end_cap", "open_end"]
    rows["openings"] = [[o["node"], o["number"], kinds.index(o["kind"]), o["diameter"], o["discharge"], int(o["blocked"]), o["outside"]]
                        for o in case["openings"]]
    return rows


def make_networks():
    """Every case solved by EPANET and by scipy with one law, and by scipy with Churchill's."""
    out = []
    for case in networks.cases():
        s = scipy_network.System(case).solve()
        c = scipy_network.System(case, law="churchill").solve()
        m = scipy_network.System(case, law="churchill", momentum=True)
        m.at_start = c["x"]
        m = m.solve()
        assert max(s["residual"], c["residual"], m["residual"]) < 1e-12, case["name"]
        row = pack(case)
        row["scipy"] = {"openings": s["openings"], "first_node_pa": s["pressure"][0], "times": transport.times(case, s["openings"], s["segments"])}
        row["scipy_churchill"] = {"openings": c["openings"], "first_node_pa": c["pressure"][0]}
        row["scipy_momentum"] = {"openings": m["openings"], "first_node_pa": m["pressure"][0]}
        if networks.for_epanet(case):
            e = epanet_network.solve(case)
            apart = np.abs(e["openings"] - s["openings"])
            largest = np.max(np.abs(s["openings"]))
            assert np.all(apart <= 1e-10 * np.maximum(np.abs(s["openings"]), FLOOR * largest)), (case["name"], apart.max() / largest)
            row["epanet"] = {"openings": e["openings"], "times": transport.times(case, e["openings"], e["segments"])}
            del row["scipy"]["times"]
        out.append(row)
    return out


def make_hard():
    """Random networks on which Newton's method was seen to stall at rounding level or to wander, solved by scipy."""
    out = []
    for seed, momentum in ((2570, True), (29793, False), (17936, True)):
        case = networks.random_network(seed)
        s = scipy_network.System(case, law="churchill", momentum=momentum).solve(check=False)
        assert s["residual"] < 1e-12, seed
        out.append({**pack(case), "momentum": momentum, "openings_reference": s["openings"]})
    return out


def write(folder, name, data):
    with open(os.path.join(folder, name), "w") as f:
        if isinstance(data, list):
            f.write("[\n" + ",\n".join(json.dumps(short(row), separators=(",", ":")) for row in data) + "\n]\n")
        else:
            f.write(json.dumps(short(data), separators=(",", ":")) + "\n")


def main():
    folder = sys.argv[1] if len(sys.argv) > 1 else COMMITTED
    os.makedirs(folder, exist_ok=True)
    write(folder, "friction.json", friction.make())
    write(folder, "air.json", air.make())
    write(folder, "textbook.json", textbook.make())
    spread = dispersion.make()
    spread["chain"]["case"] = pack(spread["chain"]["case"])
    write(folder, "dispersion.json", spread)
    write(folder, "networks.json", make_networks())
    write(folder, "networks_hard.json", make_hard())
    propagated = monte_carlo.make()
    write(folder, "monte_carlo.json", {**propagated, "case": pack(propagated["case"])})


if __name__ == "__main__":
    main()
