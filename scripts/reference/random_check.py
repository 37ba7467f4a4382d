"""Random networks through the engine, EPANET and scipy, compared live: `python3 scripts/reference/random_check.py [count] [seed]`.

Wider than the committed cases: trees with rings, capillaries, blocked holes, open ends, rooms at other pressures, any fan or
suction, air from thin to dense. Prints what disagrees by more than 1e-6 of a hole's flow (flows over a millionth of the largest)
and the worst of all; the exit status says whether all agree. Uses the engine's `bench_airflow` example.
"""
import json
import os
import random
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


def network(seed):
    rng = random.Random(seed)
    n = networks.Net(f"random {seed}", "", density=round(rng.uniform(0.7, 1.5), 3), viscosity=round(rng.uniform(1.4e-5, 2.2e-5), 8))
    loss = rng.random() < 0.7
    suction = rng.random() < 0.3
    for _ in range(rng.randint(1, 5)):
        nodes = [n.inlet(loss=(rng.uniform(0, 5e4), rng.uniform(0, 1e8)) if loss and not suction else (0.0, 0.0))]
        bore = rng.choice([0.016, 0.021, 0.021, 0.027])
        for _ in range(rng.randint(1, 25)):
            at = nodes[-1] if rng.random() < 0.75 else rng.choice(nodes)
            s = dict(bore=bore if rng.random() < 0.9 else rng.choice([0.006, 0.012, 0.034]), rough=rng.choice([1.5e-6, 1e-5, 1e-4]),
                     k=rng.choice([0.0, 0.0, 0.4, 2.0]))
            new = n.segment(at, round(10 ** rng.uniform(-1, 1.3), 3), **s)
            nodes.append(new)
            if rng.random() < 0.8:
                n.hole(new, round(10 ** rng.uniform(0, 0.8), 2) if rng.random() < 0.97 else 18.0, cd=round(rng.uniform(0.55, 0.9), 2),
                       blocked=rng.random() < 0.1, outside=rng.choice([0.0] * 6 + [15.0, -10.0, -80.0]))
        for _ in range(rng.choice([0, 0, 0, 1, 3])):
            if len(nodes) > 4:
                a, b = rng.sample(nodes[1:], 2)
                n.segment(a, round(rng.uniform(0.5, 10), 2), bore=bore, far=b)
    if all(o["blocked"] for o in n.case["openings"]):
        n.hole(n.segment(0, 2.0), 3.0)
    if suction:
        n.suction(*[round(10 ** rng.uniform(0, 3), 1) for _ in n.case["inlets"]])
    else:
        p, q = 10 ** rng.uniform(1.3, 3), 10 ** rng.uniform(-3, -2)
        n.fan([[0.0, p], [0.3 * q, 0.95 * p], [0.7 * q, 0.6 * p], [q, 0.0]], speed=round(rng.uniform(0.5, 1.4), 2), density=rng.choice([1.2, 1.0]))
        n.only(exhaust_pa=rng.choice([0.0, 0.0, 10.0, -10.0]))
        if not loss:
            n.only(loss=[0.0, 0.0], exhaust_loss=[0.0, 0.0])
    return n.case


def apart(a, b):
    return float(np.max(np.abs(a - b) / np.maximum(np.abs(b), FLOOR * np.max(np.abs(b)))))


def main():
    count, seed = (int(sys.argv[i]) if len(sys.argv) > i else d for i, d in ((1, 1000), (2, 1)))
    subprocess.run(["cargo", "build", "--release", "-q", "-p", "plumeline-airflow", "--example", "bench_airflow"], check=True)
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
        case = network(i)
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
