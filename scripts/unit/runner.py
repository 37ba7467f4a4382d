"""Runs a job of `plumeline run` against a unit of this folder, in scaled time, and says what it came to.

Not here: which jobs are run, and what is expected of them.
"""
import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

HERE = Path(__file__).resolve().parent


def arguments(about, speed, at_once, patience):
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("plumeline", type=lambda path: Path(path).resolve())
    parser.add_argument("--speed", type=float, default=speed, help="how much faster than real time")
    parser.add_argument("--at-once", type=int, default=at_once)
    parser.add_argument("--patience", type=float, default=patience, help="seconds that one job may take")
    parser.add_argument("--keep", type=Path, help="keep the jobs in this folder")
    return parser


@contextmanager
def workplace(args):
    work = args.keep or Path(tempfile.mkdtemp())
    work.mkdir(parents=True, exist_ok=True)
    yield work
    if not args.keep:
        shutil.rmtree(work)


def attempt(args, work, name, unit, speed, prepare=lambda folder: None):
    """What result.json tells, the exit code, and how late the unit came at worst, in the job's time."""
    folder, late, code = work / f"{name}-at-{speed:g}", 1e9, "no end"
    shutil.copytree(HERE / "job", folder)
    (folder / "operator.toml.in").unlink()
    prepare(folder)
    served = subprocess.Popen([sys.executable, *map(str, unit), "--speed", str(speed)], stdout=subprocess.PIPE, text=True,
                              stderr=(work / f"{folder.name}.unit").open("w"))
    try:
        _, port, _, control = served.stdout.readline().split()
        operator = work / f"{folder.name}.operator.toml"
        operator.write_text((HERE / "job/operator.toml.in").read_text().replace("CONTROL", control.rsplit(":", 1)[1]))
        command = [args.plumeline, "--quiet", "run", folder, "--port", port, "--operator", operator, "--speed", str(speed)]
        with (work / f"{folder.name}.out").open("w") as out:
            code = subprocess.run(command, stdout=out, stderr=subprocess.STDOUT, timeout=args.patience).returncode
    except subprocess.TimeoutExpired:
        pass
    finally:
        served.terminate()
        last = served.communicate()[0].split()
        late = float(last[2]) if len(last) > 2 else late
    result = folder / "result.json"
    return json.loads(result.read_text()) if result.exists() else {}, code, late


def slower(args, bears_s, least, once):
    """Runs `once(speed)`, slower again while this machine could not keep up: what it came to shows nothing then."""
    speed, begun = args.speed, time.monotonic()
    while True:
        *told, late = once(speed)
        if late <= bears_s or speed <= least:
            return *told, speed, time.monotonic() - begun
        speed /= 2
