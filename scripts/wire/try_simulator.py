"""Tries the simulated unit with the independent client, over a pseudo-terminal and over TCP, and checks every payload.

    python3 scripts/wire/try_simulator.py target/release/plumeline [--pipework FILE] [--speed N]

Exits 0 only if both runs of client.py and the check of what they kept against the CDDL did.
"""
import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
START_S = 60


def run(*command) -> int:
    print("+", *command, flush=True)
    return subprocess.run([sys.executable, *map(str, command)], timeout=300).returncode


def with_unit(program: str, scenario: Path, speed: str, over: list[str], keep: Path) -> int:
    """The client against a unit started for it; the unit is ended again in any case."""
    command = [program, "simulate", str(scenario), *over, "--control", "127.0.0.1:0", "--speed", speed]
    unit = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        address = None
        for line in unit.stdout:
            if line.startswith("unit: "):
                address = line.split(": ", 1)[1].strip()
            if line.strip() == "ready":
                break
        if address is None:
            print("the simulated unit did not start", file=sys.stderr)
            return 4
        target = address.removeprefix("serial:").split("@")[0]
        # A unit that was just given power is silent for some seconds of its own time.
        for _ in range(START_S // 4):
            code = run(HERE / "client.py", target, "--keep", keep)
            if code != 4:
                break
        return code
    finally:
        unit.terminate()
        unit.wait(10)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("program", help="the built plumeline")
    parser.add_argument("--pipework", default="harness/cli/demo/pipework.toml")
    parser.add_argument("--speed", default="1", help="seconds of the unit for each second")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        scenario = Path(folder) / "scenario.toml"
        (Path(folder) / "pipework.toml").write_bytes(Path(args.pipework).read_bytes())
        scenario.write_text('format = 1\npipework = "pipework.toml"\n')
        ways = {"pty": ["--pty", str(Path(folder) / "unit")], "tcp": ["--tcp", "127.0.0.1:0"]}
        codes, kept = [], []
        for name, over in ways.items():
            kept.append(Path(folder) / f"{name}.txt")
            codes.append(with_unit(args.program, scenario, args.speed, over, kept[-1]))
        if any(codes):
            return max(codes)
        return run(HERE / "check_cddl.py", *kept)


if __name__ == "__main__":
    sys.exit(main())
