"""Steady solve of the airflow engine against EPANET 2.3 in the same run: `python3 scripts/bench_airflow.py [repetitions]`.

Both solve the same networks with the same friction law (Hagen-Poiseuille, Dunlop, Swamee-Jain), no momentum term, from
cold, in turn, so that both see the same machine. Each is given the loosest stopping rule of a ladder with which its hole flows
are within 1e-8 of its own tightest solution. Timed: EPANET's initH + runH with flows reset, the engine's Network::solve;
laying out (openH, Network::build) is left out on both sides. Prints medians, least values (which a busy machine spoils
less) and the ratios of both as a Markdown table.
"""
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import warnings

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "reference"))
import epanet_network as epanet  # noqa: E402
import networks  # noqa: E402
from epanet import toolkit as en  # noqa: E402
from make import pack, short  # noqa: E402

warnings.filterwarnings("ignore", message="WARNING")
ACCURACY = 1e-8
LAW = "hagen_dunlop_swamee_jain"


def comb(nodes):
    """A tree of about so many nodes: legs like sampling pipes (24 holes, Re 100 to 2500) on one wide header."""
    n = networks.Net(f"tree of {nodes} nodes", "legs of 24 holes on one header")
    at = n.inlet(loss=(0.0, 0.0))
    for _ in range(nodes // 25):
        at = n.segment(at, 1.0, bore=2.0)
        n.run(at, 24, 4.0, 2.5)
    n.suction(150.0)
    return n.case


def apart(a, b):
    """Largest difference of hole flows, relative to the flow or a thousandth of the largest."""
    return float(np.max(np.abs(a - b) / np.maximum(np.abs(b), 1e-3 * np.max(np.abs(b)))))


class Epanet:
    """EPANET on one network."""

    def __init__(self, case):
        text, by_node, _ = epanet.build(case)
        self.project = epanet.Project(text)
        self.ph = self.project.ph
        names = epanet.node_names(case)
        self.at = [en.getnodeindex(self.ph, names[i]) for i in by_node]
        start = time.perf_counter()
        en.openH(self.ph)
        self.layout = time.perf_counter() - start
        tight = self.solve_to(1e-5, 1e-10)
        typical = float(np.mean(np.abs(tight)))
        # EPANET's own measure (sum of flow changes over sum of flows) goes down to 1e-5; then the largest flow change.
        ladder = [(a, 0.0) for a in (1e-1, 1e-2, 1e-3, 1e-4, 1e-5)] + [(1e-5, c * typical) for c in (1e-5, 1e-6, 1e-7, 1e-8, 1e-9)]
        for limits in ladder:
            self.error = apart(self.solve_to(*limits), tight)
            if self.error <= ACCURACY:
                break

    def solve_to(self, relative, change):
        en.setoption(self.ph, en.ACCURACY, relative)
        self.project.accuracy(0.0, change)
        self.time()
        return np.array([en.getnodevalue(self.ph, i, en.EMITTERFLOW) for i in self.at])

    def time(self):
        start = time.perf_counter()
        en.initH(self.ph, 10)
        en.runH(self.ph)
        elapsed = time.perf_counter() - start
        self.iterations = int(en.getstatistic(self.ph, en.ITERATIONS))
        return elapsed

    def close(self):
        en.closeH(self.ph)
        self.project.close()


class Engine:
    """The engine on one network, in its own process."""

    def __init__(self, process, case, law=LAW):
        self.process, self.law = process, law
        with tempfile.NamedTemporaryFile("w", suffix=".json") as f:
            json.dump(short(pack(case)), f)
            f.flush()
            self.ask(f"load {f.name}")
        tight = self.solve_to(1e-13)
        for limit in [1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10]:
            self.error = apart(self.solve_to(limit), tight)
            if self.error <= ACCURACY:
                break
        self.limit = limit

    def ask(self, line):
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        answer = self.process.stdout.readline()
        if not answer:
            sys.exit(f"the engine's example ended at: {line}")
        return json.loads(answer)

    def solve_to(self, limit):
        self.ask(f"solve {self.law} false {limit} 1")
        return np.array(self.ask("flows"))

    def time(self, times):
        answer = self.ask(f"solve {self.law} false {self.limit} {times + 1}")
        self.layout, self.iterations = answer["build_ns"] / 1e9, answer["iterations"]
        return [ns / 1e9 for ns in answer["ns"][1:]]  # the first fills the workspace


def main():
    repetitions = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    subprocess.run(["cargo", "build", "--release", "-q", "-p", "plumeline", "--example", "bench_airflow"], check=True)
    target = os.environ.get("CARGO_TARGET_DIR", "target")
    process = subprocess.Popen([os.path.join(target, "release", "examples", "bench_airflow")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    by_name = {c["name"]: c for c in networks.cases()}
    print("| network | EPANET, ms: median, least (steps, error) | engine, ms: median, least (steps, error) | ratio: median, least "
          "| engine, Churchill, ms: median, least | layout, ms: EPANET, engine |")
    print("|---|---|---|---|---|---|")
    for case, inner in [(by_name["four_by_25"], 200), (comb(1000), 20), (comb(10_000), 3), (comb(100_000), 1)]:
        ep, eng = Epanet(case), Engine(process, case)
        theirs, ours, churchill = [], [], []
        for _ in range(repetitions):
            theirs.append(statistics.median(ep.time() for _ in range(inner)))
            eng.law = LAW
            ours.append(statistics.median(eng.time(inner)))
            steps = eng.iterations
            eng.law = "churchill"
            churchill.append(statistics.median(eng.time(inner)))
        (t, tl), (o, ol), (c, cl) = ((statistics.median(x) * 1e3, min(x) * 1e3) for x in (theirs, ours, churchill))
        print(f"| {case['name']} | {t:.3f}, {tl:.3f} ({ep.iterations}, {ep.error:.0e}) | {o:.4f}, {ol:.4f} ({steps}, {eng.error:.0e}) "
              f"| {o / t:.3f}, {ol / tl:.3f} | {c:.4f}, {cl:.4f} | {ep.layout * 1e3:.2f}, {eng.layout * 1e3:.2f} |", flush=True)
        ep.close()
    process.stdin.close()
    sys.exit(process.wait())


if __name__ == "__main__":
    main()
