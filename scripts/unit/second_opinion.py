"""Runs `plumeline run` against the unit of another make, sound and with each fault, and holds the verdicts against expected.toml.

    python3 scripts/unit/second_opinion.py target/debug/plumeline              # everything
    python3 scripts/unit/second_opinion.py target/debug/plumeline --set ci     # the set that CI runs
    python3 scripts/unit/second_opinion.py target/debug/plumeline no-alarm -   # these only; `-` is the sound unit

Prints a line for each: fault, verdict, exit code, what it was expected to come to, codes of the findings that are no pass.
With the sound unit among them, a fault that is stopped must bring at least one finding that the sound unit does not; one that
passes must be stated in the job's own report as not shown. Exit code 1 if one is not as expected. Jobs run side by side, in
scaled time: they mostly wait. Where the machine could not keep up with one, it is run again at half the speed.
"""
import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from faults import FAULTS

HERE = Path(__file__).resolve().parent
SOUND = "-"
LATE_S = 1.5  # of the job's time: what its time-outs and clock exchanges bear


def one(args, work, fault):
    """The job against one unit, slower again while this machine could not keep up: what it came to shows nothing then."""
    speed = args.speed
    while True:
        *told, late = attempt(args, work, fault, speed)
        if late <= LATE_S or speed <= 8:
            return *told, speed
        speed /= 2


def attempt(args, work, fault, speed):
    """Verdict, exit code, codes, what the report says could have been missed, seconds, and how late the unit came at worst, in the job's time."""
    name = f"{'sound' if fault == SOUND else fault}-at-{speed:g}"
    folder, begun, late = work / name, time.monotonic(), 1e9
    shutil.copytree(HERE / "job", folder)
    (folder / "operator.toml.in").unlink()
    unit = [sys.executable, str(HERE), "--speed", str(speed), "--seed", str(args.seed)]
    served = subprocess.Popen(unit + ([] if fault == SOUND else ["--fault", fault]), stdout=subprocess.PIPE, text=True,
                              stderr=(work / f"{folder.name}.unit").open("w"))
    try:
        _, port, _, control = served.stdout.readline().split()
        operator = work / f"{folder.name}.operator.toml"
        operator.write_text((HERE / "job/operator.toml.in").read_text().replace("CONTROL", control.rsplit(":", 1)[1]))
        command = [args.plumeline, "--quiet", "run", folder, "--port", port, "--operator", operator, "--speed", str(speed)]
        with (work / f"{folder.name}.out").open("w") as out:
            code = subprocess.run(command, stdout=out, stderr=subprocess.STDOUT, timeout=args.patience).returncode
    except subprocess.TimeoutExpired:
        code = "no end"
    finally:
        served.terminate()
        last = served.communicate()[0].split()
        late = float(last[2]) if len(last) > 2 else late
    result = folder / "result.json"
    told = json.loads(result.read_text()) if result.exists() else {}
    missed = {s["code"] for s in told.get("outcome", {}).get("could_have_missed", [])}
    return fault, told.get("verdict", "no result"), code, sorted(codes(told)), missed, time.monotonic() - begun, late


def codes(told):
    """Code, or subject where a finding has none, of whatever is no pass."""
    found = set()
    if isinstance(told, dict):
        if "verdict" in told and told["verdict"] not in ("pass", None) and ("code" in told or "subject" in told):
            found.add(told.get("code") or json.dumps(told["subject"]))
        told = list(told.values())
    for part in told if isinstance(told, list) else []:
        found |= codes(part)
    return found


def expected(rules, fault):
    """Verdicts that a job may come to."""
    return rules["sound"]["verdict"] if fault == SOUND else rules["fault"].get(fault, {}).get("verdict", rules["faults"]["verdict"])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("plumeline", type=Path)
    parser.add_argument("only", nargs="*", help="faults; `-` is the sound unit")
    parser.add_argument("--set", default="all", help="all, or a set that expected.toml names")
    parser.add_argument("--speed", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=4)
    parser.add_argument("--patience", type=float, default=900.0, help="seconds that one job may take")
    parser.add_argument("--keep", type=Path, help="keep the jobs in this folder")
    args = parser.parse_args()
    args.plumeline = args.plumeline.resolve()
    rules = tomllib.loads((HERE / "expected.toml").read_text())
    wanted = args.only or ([SOUND, *FAULTS] if args.set == "all" else rules["set"][args.set])
    unknown = set(wanted) - {SOUND, *FAULTS} | rules["fault"].keys() - FAULTS.keys()
    if unknown or not wanted:
        sys.exit(f"no such fault: {', '.join(sorted(unknown)) or 'nothing is to be run'}")
    work = args.keep or Path(tempfile.mkdtemp())
    work.mkdir(parents=True, exist_ok=True)
    wrong, begun, usual = 0, time.monotonic(), set()
    print("| fault | verdict | exit | as expected | what is no pass, beyond the sound unit's | s |\n|---|---|---|---|---|---|", flush=True)
    with ThreadPoolExecutor(args.at_once) as pool:
        for fault, verdict, code, found, missed, took, speed in pool.map(lambda f: one(args, work, f), wanted):
            good = verdict in expected(rules, fault)
            if fault == SOUND:
                usual = set(found)
                good &= usual <= set(rules["sound"]["codes"])
            elif SOUND in wanted:  # what the sound unit is told as well shows nothing
                found = [c for c in found if c not in usual]
                good &= bool(found) or verdict == "pass"
            if verdict == "pass" and fault != SOUND:
                good &= rules["fault"].get(fault, {}).get("stated") in missed
            wrong += not good
            print(f"| {'sound' if fault == SOUND else fault} | {verdict} | {code} | {'yes' if good else 'NO'} "
                  f"| {', '.join(found)} | {took:.0f} at {speed:g} |", flush=True)
    print(f"\n{len(wanted)} jobs, {wrong} not as expected, {time.monotonic() - begun:.0f} s")
    if not args.keep:
        shutil.rmtree(work)
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
