"""Runs `plumeline run` against the unit of another make read by registers, sound and with defects of the air.

    python3 scripts/unit/by_registers.py target/debug/plumeline

A sound unit must pass over TCP and as RTU on a pseudo-terminal; each defect must be stopped. Exit code 1 if one is not as expected. A job
in which this machine could not keep up is run again, slower: what it came to shows nothing.
"""
import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve().parent
JOBS = [("tcp", None), ("rtu", None), ("tcp", "hole-blocked"), ("tcp", "end-cap-missing"), ("rtu", "pipe-off")]
LATE_S = 0.5  # of the job's time: an answer may take 3 s of it


def prepare(folder, framing):
    shutil.copytree(HERE / "job", folder)
    (folder / "operator.toml.in").unlink()
    described = (HERE / "registers/unit-replacement.toml").read_text().replace("PROTOCOL", framing)
    (folder / "unit-replacement.toml").write_text(described)
    plan = folder / "plan.toml"
    # By registers nobody sees when something was measured, nor what the unit did.
    plan.write_text(plan.read_text().replace("\nreadings = ", '\nnot_shown = ["device time", "event log"]\nreadings = ', 1))


def attempt(args, work, framing, defect, speed):
    """Verdict, what it hangs on, and how late the unit came at worst, s of the job's time."""
    folder = work / f"{framing}-{defect or 'sound'}-at-{speed:g}"
    prepare(folder, framing)
    unit = [sys.executable, str(HERE / "registers.py"), "--framing", framing, "--speed", str(speed)]
    served = subprocess.Popen(unit + (["--defect", defect] if defect else []), stdout=subprocess.PIPE, text=True,
                              stderr=(work / f"{folder.name}.unit").open("w"))
    late = 1e9
    try:
        _, port, _, control = served.stdout.readline().split()
        operator = work / f"{folder.name}.operator.toml"
        operator.write_text((HERE / "job/operator.toml.in").read_text().replace("CONTROL", control.rsplit(":", 1)[1]))
        command = [args.plumeline, "--quiet", "run", folder, "--port", port, "--operator", operator, "--speed", str(speed)]
        with (work / f"{folder.name}.out").open("w") as out:
            subprocess.run(command, stdout=out, stderr=subprocess.STDOUT, timeout=args.patience)
    except subprocess.TimeoutExpired:
        pass
    finally:
        served.terminate()
        last = served.communicate()[0].split()
        late = float(last[2]) if len(last) > 2 else late
    result = folder / "result.json"
    told = json.loads(result.read_text()) if result.exists() else {}
    return told.get("verdict", "no result"), told.get("outcome", {}).get("because", ""), late


def one(args, work, job):
    speed, begun = args.speed, time.monotonic()
    while True:
        verdict, because, late = attempt(args, work, *job, speed)
        if late <= LATE_S or speed <= 4:
            return job, verdict, because, speed, time.monotonic() - begun
        speed /= 2


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("plumeline", type=Path)
    parser.add_argument("--speed", type=float, default=12.0)
    parser.add_argument("--at-once", type=int, default=3)
    parser.add_argument("--patience", type=float, default=1200.0, help="seconds that one job may take")
    parser.add_argument("--keep", type=Path, help="keep the jobs in this folder")
    args = parser.parse_args()
    args.plumeline = args.plumeline.resolve()
    work = args.keep or Path(tempfile.mkdtemp())
    work.mkdir(parents=True, exist_ok=True)
    wrong = 0
    with ThreadPoolExecutor(args.at_once) as pool:
        for (framing, defect), verdict, because, speed, took in pool.map(lambda j: one(args, work, j), JOBS):
            good = verdict == "pass" if defect is None else verdict in ("fail", "undecided")
            wrong += not good
            print(f"{framing} {defect or 'sound'}: {verdict}{'' if good else ', NOT AS EXPECTED'} "
                  f"({took:.0f} s at {speed:g}): {because[:120]}", flush=True)
    if not args.keep:
        shutil.rmtree(work)
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
