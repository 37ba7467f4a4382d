"""Flows with known truth, made without a line of the measurement crate, and how the settling with its shipped settings judges them.

    cargo build --release -p plumeline-measure --example many
    python3 scripts/second/settle.py --seed 1 --cases 600

Right: a flow at rest was called steady at some moment and is at the end; one that moves at the end is not. Early: called steady
while the course without noise moved, over the last minute, by more than the limit of 2 % a minute.
"""
import argparse
import json
import os
import subprocess
from collections import Counter, defaultdict

import numpy as np
from scipy import signal

RUN = [os.environ.get("MANY", "target/release/examples/many"), "settle"]
LIMIT = 0.02
KINDS = ["rest", "slow drift", "approach", "approach late", "fast drift", "drifts off", "stops", "steps", "swings", "spikes", "coarse"]


def ar1(n, rho, dice):
    return signal.lfilter([np.sqrt(1 - rho * rho)], [1, -rho], dice.standard_normal(n + 200))[200:]


def make(dice):
    kind = str(dice.choice(KINDS))
    rate = float(dice.choice([1, 2, 5, 10]))
    long = float(dice.choice([2.2, 3, 5, 10, 20, 30])) * 60
    t = np.arange(int(long * rate)) / rate
    level, sd = dice.uniform(10, 120), dice.uniform(0.001, 0.008)
    shape = np.zeros_like(t)
    at = dice.uniform(0.3, 0.95) * long
    moving = lambda now: False
    if kind == "slow drift":
        shape = dice.uniform(-0.008, 0.008) * t / 60
    elif kind in ("approach", "approach late"):
        tau = long / (dice.uniform(7, 12) if kind == "approach" else dice.uniform(1.5, 3.0))
        size = dice.uniform(0.1, 0.4) if kind == "approach" else dice.uniform(0.3, 0.6) * max(1.0, tau / 40)
        shape = -np.minimum(size, 0.9) * np.exp(-t / tau)
    elif kind == "fast drift":
        # So many per cent of what it is at the time, a minute: a straight line would become a slow one as the flow grows.
        shape = np.expm1(dice.choice([-1, 1]) * dice.uniform(0.03, 0.08) * np.minimum(t, 900) / 60) if long <= 900 else np.expm1(
            dice.choice([-1, 1]) * dice.uniform(0.03, 0.05) * (t - t[-1]) / 60)
    elif kind == "drifts off":
        at = long - dice.uniform(60, 110)
        shape = dice.choice([-1, 1]) * dice.uniform(0.06, 0.2) * np.maximum(t - at, 0) / 60
    elif kind == "stops":
        at = long - dice.uniform(1.0 / rate, 14)
        shape = np.where(t > at, -1.0, 0.0)
    elif kind == "steps":
        shape = np.where(t > long - dice.uniform(15, 100), dice.choice([-1, 1]) * dice.uniform(0.06, 0.3), 0.0)
    elif kind == "swings":
        shape = dice.uniform(0.04, 0.1) * np.sin(2 * np.pi * t / dice.uniform(10, 40) + dice.uniform(0, 6))
    rho = float(dice.choice([0.0, np.exp(-1 / (rate * dice.uniform(0.2, 1.0)))]))
    noise = sd * ar1(len(t), rho, dice)
    if kind == "stops":
        noise = np.where(t > at, noise * 0.05, noise)
    y = level * (1 + shape + noise)
    if kind == "spikes":
        hit = dice.random(len(t)) < dice.uniform(0.001, 0.01)
        hit[-4:] = False
        y = np.where(hit, dice.choice([9.9e37, 2 * level, 0.0]), y)
    step = 0.0
    if kind == "coarse":
        step = level * dice.uniform(0.001, 0.004)
        y = np.round(y / step) * step
    free = 1 + shape
    slope_end = abs(free[-1] - free[max(0, len(t) - int(60 * rate))]) / free[-1] if free[-1] > 0 else 1.0
    steady = kind in ("rest", "slow drift", "spikes", "coarse")
    if kind.startswith("approach"):
        # Between clearly steady and clearly not nobody can ask for an answer.
        steady = True if slope_end < 0.3 * LIMIT and long > 6 * 60 else False if slope_end > 1.3 * LIMIT else None
    return {"kind": kind, "rate": rate, "long": long, "rho": rho > 0, "sd": f"{0.002 * (1 + int(sd / 0.002)):.3f}", "steady": steady,
            "t": np.round(t, 6).tolist(), "y": y.tolist(), "free": free,
            "told": {"resolution": 0.0, "deadline_s": None}}


def moved(case, now):
    """Change of the noise-free course over the last minute before `now`, as a share of it."""
    rate, free = case["rate"], case["free"]
    i = min(int(now * rate), len(free) - 1)
    j = max(0, i - int(60 * rate))
    part = free[j : i + 1]
    return (part.max() - part.min()) / max(part[-1], 1e-9)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--cases", type=int, default=600)
    a = p.parse_args()
    dice = np.random.default_rng(a.seed)
    cases = [make(dice) for _ in range(a.cases)]
    lines = "\n".join(json.dumps({k: c[k] for k in ("t", "y", "told")}) for c in cases)
    out = subprocess.run(RUN, input=lines, capture_output=True, text=True, check=True).stdout
    found = [json.loads(line) for line in out.splitlines()]
    cells, why = defaultdict(lambda: [0, 0, 0]), Counter()
    for case, answer in zip(cases, found):
        at_end = "steady" in answer["end"]
        early = case["kind"] not in ("swings", "spikes") and any(on and moved(case, at) > 1.25 * LIMIT for at, on in answer["changes"])
        early |= case["kind"] in ("swings",) and bool(answer["first"])
        for key in [("all",), ("kind", case["kind"]), ("rate", case["rate"]), ("minutes", case["long"] / 60), ("scatter", case["sd"])]:
            cell = cells[key]
            cell[2] += early
            if case["steady"] is not None:
                right = at_end == case["steady"]
                cell[0] += 1
                cell[1] += right
        if case["steady"] is not None and at_end != case["steady"]:
            reason = answer["end"].get("not-yet", answer["end"]).get("because", "steady") if not at_end else "steady"
            why[case["kind"], str(reason)[:70]] += 1
    print("cell                           n   right %   early")
    for key, (n, right, early) in sorted(cells.items(), key=str):
        print(f"{' '.join(map(str, key)):25s} {n:6d} {100 * right / max(n, 1):8.1f} {early:6d}")
    for reason, n in why.most_common(14):
        print(n, reason)


if __name__ == "__main__":
    main()
