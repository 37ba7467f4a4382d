"""Random networks through the engine, EPANET and scipy, compared live: `python3 scripts/reference/random_check.py [count] [seed]`.

Wider than the committed cases: trees with rings, capillaries, blocked holes, open ends, rooms at other pressures, any fan or
suction, air from thin to dense. Prints what disagrees by more than 1e-6 of a hole's flow (flows over a millionth of the largest)
and the worst of all; the exit status says whether all agree. Uses the engine's `bench_airflow` example.
"""
import json
import os
import subprocess
import sys
import tempfile
import warnings

import numpy as np

import epanet_network
import networks
import scipy_network
from make import FLOOR, pack, short

warnings.filterwarnings("ignore", message="WARNING")
# With momentum scipy starts from the solution without.
RUNS = [("hagen_dunlop_swamee_jain", False, "scipy"), ("churchill", False, "scipy churchill"), ("churchill", True, "scipy momentum")]


def apart(a, b):
    return float(np.max(np.abs(a - b) / np.maximum(np.abs(b), FLOOR * np.max(np.abs(b)))))


def main():
    count, seed = (int(sys.argv[i]) if len(sys.argv) > i else d for i, d in ((1, 1000), (2, 1)))
    subprocess.run(["cargo", "build", "--release", "-q", "-p", "plumeline", "--example", "bench_airflow"], check=True)
    program = os.path.join(os.environ.get("CARGO_TARGET_DIR", "target"), "release", "examples", "bench_airflow")
    process = subprocess.Popen([program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(line):
        process.stdin.write(line + "\n")
        process.stdin.flush()
        answer = process.stdout.readline()
        if not answer:
            raise RuntimeError(line)
        return json.loads(answer)

    worst, bad, refused, backward = dict.fromkeys(["epanet", *(name for *_, name in RUNS)], 0.0), 0, 0, 0
    for i in range(seed, seed + count):
        case = networks.random_network(i)
        with tempfile.NamedTemporaryFile("w", suffix=".json") as f:
            json.dump(short(pack(case)), f)
            f.flush()
            ask(f"load {f.name}")
        results = {}
        start = None
        for law, momentum, name in RUNS:
            answer = ask(f"solve {law} {'true' if momentum else 'false'} 1e-12 1")
            if "refused" in answer:
                refused += 1
                print(i, name, "refused:", answer["refused"], flush=True)
                continue
            got = np.array(ask("flows"))
            system = scipy_network.System(case, law=law, momentum=momentum)
            system.at_start = start if momentum else None
            s = system.solve(check=False)
            start = s["x"]
            if s["residual"] < 1e-11:
                results[name] = apart(got, s["openings"])
            else:
                print(i, "scipy did not settle:", s["residual"])
            if name == "scipy":
                # EPANET's pump lets nothing back; such cases are left to scipy.
                if got.sum() > 0 or "suction" in case["unit"]:
                    results["epanet"] = apart(got, epanet_network.solve(case)["openings"])
                else:
                    backward += 1
        for name, d in results.items():
            worst[name] = max(worst[name], d)
        if max(results.values(), default=0.0) > 1e-6:
            bad += 1
            print(i, results, len(case["openings"]), "openings", "suction" if "suction" in case["unit"] else "fan")
    print(f"{count} networks ({backward} with a backward fan, not for EPANET), {refused} solves refused, {bad} networks disagree; worst: {worst}")
    sys.exit(1 if bad or refused else 0)


if __name__ == "__main__":
    main()
