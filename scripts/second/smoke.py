"""Runs the measurement crate over many signals of `smoke_signals.py` and tells by cell how well its times hold.

    cargo build --release -p plumeline-measure --example many
    python3 scripts/second/smoke.py --seed 1 --cases 4000 [--none 1000] [--by shape,strength]

Every interval is held against the time at which the noise-free course first reaches a tenth of its plateau, counted from
the release; a device's mark without uncertainty is used, so that nothing but the signal decides.
"""
import argparse
import json
import os
import subprocess
from collections import Counter, defaultdict

import numpy as np

import other_smoke
import smoke_signals

RUN = [os.environ.get("MANY", "target/release/examples/many"), "smoke"]


def answers(cases):
    keys = ("t", "y", "release", "told")
    lines = "\n".join(json.dumps({k: c[k] for k in keys}) for c in cases)
    out = subprocess.run(RUN, input=lines, capture_output=True, text=True, check=True).stdout
    return [json.loads(line) for line in out.splitlines()]


def kind(answer):
    outcome = answer["outcome"]
    if isinstance(outcome, str):
        return outcome
    name, inner = next(iter(outcome.items()))
    if name == "undecided":
        why = inner["because"]
        if not isinstance(why, str):
            name, inner = next(iter(why.items()))
            why = name if name != "evidence" else inner if isinstance(inner, str) else next(iter(inner))
        return f"undecided {why}"
    return name


class Cell:
    def __init__(self):
        self.n = self.detectable = self.timed = self.covered = self.before = self.after = 0
        self.half = self.half_n = 0
        self.errors, self.width = [], []

    def add(self, case, answer):
        self.n += 1
        self.detectable += case["detectable"]
        what = kind(answer)
        if what not in ("response", "saturated"):
            return
        inner = answer["outcome"][what]
        if case["detectable"]:
            self.timed += 1
        if what == "saturated":
            return
        truth = case["truth"]["at"]["10"] - case["release"]
        low, high = inner["onset_interval95_s"]
        self.covered += low <= truth <= high
        self.before += high < truth
        self.after += low > truth
        self.errors.append((inner["onset_s"]["value"] - truth) * case["rate"])
        self.width.append((high - low) * case["rate"])
        half = inner["half_plateau_s"]
        self.half_n += 1
        off = half["value"] - (case["truth"]["at"]["50"] - case["release"])
        self.half += abs(off) <= 1.96 * half["u_individual"]

    def row(self):
        k = max(len(self.errors), 1)
        e = np.abs(self.errors) if self.errors else [0]
        return (f"{self.n:6d} {100 * self.covered / k:7.1f} {100 * self.before / k:8.1f} {100 * self.after / k:7.1f} "
                f"{100 * (1 - self.timed / max(self.detectable, 1)):10.1f} {np.median(e):8.2f} {np.median(self.width or [0]):7.2f} "
                f"{100 * self.half / max(self.half_n, 1):7.1f}")


def table(cases, found, by):
    cells = defaultdict(Cell)
    for case, answer in zip(cases, found):
        cells[tuple(str(case[k]) for k in by)].add(case, answer)
    print(f"{' x '.join(by):36s}      n covered % before % after % unanswered %  |err|/dt width/dt half %")
    for key, cell in sorted(cells.items()):
        print(f"{' / '.join(key):36s} {cell.row()}")


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--cases", type=int, default=2000)
    p.add_argument("--none", type=int, default=0)
    p.add_argument("--by", default="")
    p.add_argument("--show", default="")
    p.add_argument("--other", action="store_true", help="the families of other_smoke.py, to which nothing may be tuned")
    a = p.parse_args()
    dice = np.random.default_rng(a.seed)
    family = other_smoke.Family if a.other else smoke_signals.Family
    cases = [smoke_signals.make(dice, family=family) for _ in range(a.cases)]
    found = answers(cases)
    for by in [a.by.split(",")] if a.by else [[], ["strength"], ["shape"], ["noise"], ["before"], ["rate"], ["step"]]:
        table(cases, found, by)
    what = Counter(kind(f) for c, f in zip(cases, found) if c["detectable"])
    print("detectable:", dict(what))
    print("clipped:", Counter(kind(f) for c, f in zip(cases, found) if c["clipped"]))
    refused = Counter((kind(f), str(c["noise"]), str(c["before"])) for c, f in zip(cases, found) if c["detectable"] and kind(f) not in ("response", "saturated"))
    print("refused most:", refused.most_common(12))
    wrong = [(c, f) for c, f in zip(cases, found) if kind(f) == "no-rise" and c["truth"]["plateau"] >= f["outcome"]["no-rise"]["would_have_seen"]]
    print("smoke over what would have been seen, yet nothing rose:", len(wrong), "of", sum(kind(f) == "no-rise" for f in found))
    if a.show:
        with open(a.show, "w") as f:
            json.dump([{**c, "answer": x} for c, x in zip(cases, found)], f)
    if a.none:
        none = [smoke_signals.make(dice, shape="none", family=family) for _ in range(a.none)]
        what = Counter((kind(f), str(c["noise"]) if kind(f) in ("response", "saturated") else "") for c, f in zip(none, answers(none)))
        print("without smoke:", dict(what))


if __name__ == "__main__":
    main()
