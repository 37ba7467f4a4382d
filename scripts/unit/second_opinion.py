"""Runs `plumeline run` against the unit of another make, sound and with each fault, and holds the verdicts against expected.toml.

    python3 scripts/unit/second_opinion.py target/debug/plumeline              # everything
    python3 scripts/unit/second_opinion.py target/debug/plumeline --set ci     # the set that CI runs
    python3 scripts/unit/second_opinion.py target/debug/plumeline no-alarm -   # these only; `-` is the sound unit

Prints a line for each: fault, verdict, exit code, what it was expected to come to, codes of the findings that are no pass.
With the sound unit among them, a fault that is stopped must bring at least one finding that the sound unit does not; one that
passes must be stated in the job's own report as not shown. Exit code 1 if one is not as expected. Jobs run side by side, in
scaled time: they mostly wait. Where the machine could not keep up with one, it is run again at half the speed.
"""
import json
import sys
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor

from faults import FAULTS
from runner import HERE, arguments, attempt, slower, workplace

SOUND = "-"
LATE_S = 1.5  # of the job's time: what its time-outs and clock exchanges bear


def one(args, work, fault):
    """Verdict, exit code, codes, what the report says could have been missed, speed and seconds of the job against one unit."""

    def once(speed):
        unit = [HERE, "--seed", args.seed] + ([] if fault == SOUND else ["--fault", fault])
        told, code, late = attempt(args, work, "sound" if fault == SOUND else fault, unit, speed)
        missed = {s["code"] for s in told.get("outcome", {}).get("could_have_missed", [])}
        return told.get("verdict", "no result"), code, sorted(codes(told)), missed, late

    return fault, *slower(args, LATE_S, 8, once)


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
    parser = arguments(__doc__, speed=30.0, at_once=4, patience=900.0)
    parser.add_argument("only", nargs="*", help="faults; `-` is the sound unit")
    parser.add_argument("--set", default="all", help="all, or a set that expected.toml names")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rules = tomllib.loads((HERE / "expected.toml").read_text())
    wanted = args.only or ([SOUND, *FAULTS] if args.set == "all" else rules["set"][args.set])
    unknown = set(wanted) - {SOUND, *FAULTS} | rules["fault"].keys() - FAULTS.keys()
    if unknown or not wanted:
        sys.exit(f"no such fault: {', '.join(sorted(unknown)) or 'nothing is to be run'}")
    wrong, begun, usual = 0, time.monotonic(), set()
    print("| fault | verdict | exit | as expected | what is no pass, beyond the sound unit's | s |\n|---|---|---|---|---|---|", flush=True)
    with workplace(args) as work, ThreadPoolExecutor(args.at_once) as pool:
        for fault, verdict, code, found, missed, speed, took in pool.map(lambda f: one(args, work, f), wanted):
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
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
