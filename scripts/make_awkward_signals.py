"""Ten awkward signals as a logger would store them, for tests/judge.rs: tests/data/awkward/*.csv and what is expected.

Python's own random numbers with the seed below; run from the top of the repository. No real site, no real unit.
"""
import json
import math
import random
from pathlib import Path

SEED = 20260101
OUT = Path("tests/data/awkward")


def flow(seconds, course=lambda t: 0.0, sd=0.005):
    """40 L/min with a scatter of 0.5 %, two readings a second; `course` is relative."""
    return [(i / 2, 40.0 * (1.0 + course(i / 2) + sd * DICE.gauss(0, 1))) for i in range(2 * seconds)]


def smoke(seconds, course):
    """1 %/m with a scatter of 0.02 %/m, two readings a second; released at 60 s."""
    return [(i / 2, 1.0 + course(i / 2) + 0.02 * DICE.gauss(0, 1)) for i in range(2 * seconds)]


def puff(start, end, height):
    """A rise and a fall through a lag of 2 s."""
    rise = lambda t: 1.0 - math.exp(-t / 2.0) if t > 0 else 0.0
    return lambda t: height * (rise(t - start) - rise(t - end))


def keep(name, column, rows, what, args, code, verdict, says, decimals=3):
    head = [f"# {what}", f"# invented; scripts/make_awkward_signals.py, seed {SEED}", f"time_s,{column}"]
    lines = head + [f"{t:.1f},{v:.{decimals}f}" for t, v in rows]
    (OUT / f"{name}.csv").write_text("\n".join(lines) + "\n")
    expected = {"what": what, "args": args.split(), "exit": code, "verdict": verdict, "says": says}
    (OUT / f"{name}.expected.json").write_text(json.dumps(expected, indent=1, ensure_ascii=False) + "\n")


def main():
    OUT.mkdir(parents=True, exist_ok=True)
    f, s, settle, onset = "flow_L/min", "smoke_%/m", "settle", "onset --release 60 --mark device"
    keep("drift", f, flow(400, lambda t: 0.03 * t / 60), "flow that rises by 3 % a minute without end",
         settle, 2, "not-steady", "it moves by +1.")
    keep("spike", f, flow(400, lambda t: 0.5 if t == 330 else 0.0), "steady flow with one reading half as high again",
         settle, 0, "steady", "steady since")
    rows = flow(400)
    keep("stuck", f, [(t, v if t < 200 else rows[400][1]) for t, v in rows], "a sensor that sticks at 200 s",
         settle, 2, "faulty", "a stuck sensor")
    keep("gap", f, [r for r in flow(400) if not 300 < r[0] < 312], "steady flow with 12 s missing",
         settle, 2, "not-steady", "nothing was read for 12.0 s")
    keep("restart", f, flow(400, lambda t: -0.9 * math.exp(-(t - 300) / 10) if t >= 300 else 0.0),
         "the unit restarts at 300 s: its fan stops and spins up again", settle, 2, "not-steady", "not steady at the end")
    first, second = puff(90, 110, 2.0), puff(150, 170, 3.0)
    keep("two-puffs", s, smoke(240, lambda t: first(t) + second(t)), "two puffs, 30 s and 90 s after the release",
         onset, 0, "response", "2 puffs")
    keep("weak-puff", s, smoke(240, puff(90, 130, 0.3)), "a puff weaker than the least that counts",
         f"{onset} --min-rise 0.5", 2, "too-weak", "0.5000 is the least that counts")
    keep("saturated", s, [(t, min(v, 4.0)) for t, v in smoke(240, puff(90, 130, 5.0))],
         "smoke that runs into the ceiling of the sensor", f"{onset} --full-scale 4", 2, "saturated", "ran into its ceiling")
    keep("clock-jump", f, [(t if t < 300 else t - 7, v) for t, v in flow(400)], "the logger's clock is set back by 7 s",
         settle, 2, "faulty", "the clock was set back")
    keep("quantised", f, [(t, round(v / 0.2) * 0.2) for t, v in flow(400)], "steady flow stored in steps of 0.2 L/min",
         f"{settle} --resolution 0.2", 0, "steady", "steady since", decimals=1)


DICE = random.Random(SEED)
if __name__ == "__main__":
    main()
