"""Runs `plumeline run` against the unit of another make read by registers, and by the lines that it prints with a person for the rest.

    python3 scripts/unit/by_means.py target/debug/plumeline
    python3 scripts/unit/by_means.py target/debug/plumeline --only lines

A sound unit must pass over TCP and on a pseudo-terminal; each defect must be stopped. Exit code 1 if one is not as expected. A job
in which this machine could not keep up is run again, slower: what it came to shows nothing.
"""
import sys
from concurrent.futures import ThreadPoolExecutor

from runner import HERE, arguments, attempt, slower, workplace

DEFECTS = ["hole-blocked", "end-cap-missing", "pipe-off"]
JOBS = [("registers", "tcp", None), ("registers", "rtu", None), ("registers", "tcp", "hole-blocked"),
        ("registers", "tcp", "end-cap-missing"), ("registers", "rtu", "pipe-off"), ("lines", "tcp", None), ("lines", "pty", None),
        *(("lines", "tcp", defect) for defect in DEFECTS)]
# Of the job's time: an answer of registers may take 3 s of it, and what lines told counts for 4 s.
LATE_S = {"registers": 0.5, "lines": 1.5}
# What no unit shows that is read so: nobody sees when something was measured, nor what the unit did.
NOT_SHOWN = {"registers": '["device time", "event log"]', "lines": '["device time", "event log", "date and time"]'}


def one(args, work, job):
    means, over, defect = job

    def prepare(folder):
        described = folder / "unit-replacement.toml"
        common, air = described.read_text().split("\n[air]")
        own = (HERE / f"{means}.toml").read_text().replace("PROTOCOL", over)
        described.write_text(f"{common}{own}\n[air]{air}")
        plan = folder / "plan.toml"
        plan.write_text(plan.read_text().replace("\nreadings = ", f"\nnot_shown = {NOT_SHOWN[means]}\nreadings = ", 1))

    def once(speed):
        unit = [HERE / f"{means}.py", "--framing" if means == "registers" else "--over", over]
        name = "-".join([means, over, defect or "sound"])
        told, _, late = attempt(args, work, name, unit + (["--defect", defect] if defect else []), speed, prepare)
        return told.get("verdict", "no result"), told.get("outcome", {}).get("because", ""), late

    return job, *slower(args, LATE_S[means], 4, once)


def main():
    parser = arguments(__doc__, speed=12.0, at_once=3, patience=2400.0)
    parser.add_argument("--only", choices=["registers", "lines"])
    args = parser.parse_args()
    wrong = 0
    with workplace(args) as work, ThreadPoolExecutor(args.at_once) as pool:
        jobs = [job for job in JOBS if args.only in (None, job[0])]
        for (means, over, defect), verdict, because, speed, took in pool.map(lambda j: one(args, work, j), jobs):
            good = verdict == "pass" if defect is None else verdict in ("fail", "undecided")
            wrong += not good
            print(f"{means} {over} {defect or 'sound'}: {verdict}{'' if good else ', NOT AS EXPECTED'} "
                  f"({took:.0f} s at {speed:g}): {because[:120]}", flush=True)
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
