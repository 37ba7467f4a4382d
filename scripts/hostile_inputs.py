#!/usr/bin/env python3
"""Gives the command hostile inputs of every kind, and records for each the exit code, the time and the peak of memory.

Usage: hostile_inputs.py PLUMELINE [--table]

Every kind of file that is read, each in every way that a file can be bad: empty, cut, doubled, random, too long, too deep, no file at all.
None may panic, be ended by a signal, take 60 s or 1 GB. With --table every run is printed.
"""
import os
import pathlib
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time

SECONDS, BYTES = 60, 1_000_000_000
TOP = pathlib.Path(__file__).resolve().parent.parent


def spoilt(good, chance):
    """Every way to spoil a file: a name, and its bytes or how it is made in place of a file."""
    half, text = len(good) // 2, good.decode("utf-8", "replace")
    cut = chance.randrange(len(good))
    yield "empty", b""
    yield "one byte", b"\x00"
    yield "cut in half", good[:half]
    yield "cut somewhere", good[:cut]
    yield "doubled", good + good
    yield "a byte changed", good[:cut] + bytes([good[cut] ^ 0x55]) + good[cut + 1 :]
    yield "a stretch of zeros", good[:half] + bytes(min(4096, half)) + good[half + 4096 :]
    yield "random bytes", chance.randbytes(100_000)
    yield "not UTF-8", b"\xff\xfe" + good
    yield "a mark of byte order, line ends of another system", b"\xef\xbb\xbf" + good.replace(b"\n", b"\r\n")
    yield "control and direction signs", good.replace(b"e", "\u202e\x1b[31m".encode(), 20)
    yield "huge numbers", "".join("9" * 400 if c == "1" else c for c in text).encode()
    yield "numbers out of range", text.replace("1", "1e308").replace("2", "-1e308").encode()
    yield "no numbers", text.replace("1", "nan").replace("0", "inf").encode()
    yield "deep lists", b"[" * 200_000
    yield "deep tables", b'{"a":' * 100_000
    yield "one long line", b"a" * 7_000_000
    yield "many lines", b"a = 1\n" * 1_000_000
    yield "many quotes", b'"' * 1_000_001
    yield "a list of a million", b"a = [" + b"0," * 1_000_000 + b"]"
    yield "a secret page", b"\x89PNG\r\n\x1a\n" + chance.randbytes(1000)
    yield "3 GB that take no room", lambda p: (p.touch(), os.truncate(p, 3 << 30))
    yield "a device that does not end", lambda p: p.symlink_to("/dev/zero")
    yield "a pipe that nobody writes to", lambda p: os.mkfifo(p)
    yield "a folder", lambda p: p.mkdir()


def kinds(tool, work):
    """Every kind of file: where it stands in a folder that is whole otherwise, and the command that reads it."""
    demo, job, fresh = work / "demo", work / "job", work / "fresh"
    subprocess.run([tool, "demo", "--small", "--quiet", "--out", demo], check=False, capture_output=True)
    subprocess.run([tool, "pack", demo, "--out", work / "demo.zip"], check=True, capture_output=True)
    subprocess.run([tool, "key", "new", "--out", work / "key"], check=True, capture_output=True)
    readings = work / "readings.csv"
    readings.write_text("time_s,flow\n" + "".join(f"{n},40.{n % 7}\n" for n in range(600)))
    fresh.mkdir()
    for name in ("pipework.toml", "plan.toml", "settings-new.json"):
        shutil.copy(demo / name, fresh / name)
    run = ["run", job, "--port", "sim:", "--quiet"]
    for name in ("pipework.toml", "plan.toml", "settings-new.json"):
        yield name, fresh, job / name, run
    (fresh / "history.json").write_text('{"format": 1, "serial": "B-1", "jobs": []}')
    yield "history", fresh, job / "history.json", run
    (fresh / "history.json").unlink()
    log = work / "log.json"
    log.write_text('{"format": 1, "unit": {"maker": "", "model": "", "serial": "B-1", "firmware": "", "boot_id": 1}, "events":'
                   ' [{"position": 1, "device_us": 1, "code": 15, "kind": "noted", "text": "record, isolated 0123-4567-89AB-CDEF-00"}]}')
    yield "unit log", log, job, ["check", demo, "--unit-log", job]
    for name in ("trace.pcapng", "journal.jsonl", "seal-1.json", "result.json"):
        yield name, demo, job / name, ["check", job]
    yield "archive", work / "demo.zip", job, ["unpack", job, "--out", work / "out"]
    yield "key", work / "key", job, ["close", demo, "--key", job]
    yield "logger", readings, job, ["judge", "mean", job]
    stamps = TOP / "harness/stamp/tests/data"
    yield "stamp", stamps / "rsa.tsr", job, ["stamp", demo, "--answer", job]
    yield "certificates", stamps / "root.pem", job, ["check", demo, "--anchor", job]
    holes = work / "holes.csv"
    holes.write_text("pipe,hole,distance_m,diameter_mm\n" + "".join(f"1,{n},{2 * n},3\n" for n in range(1, 9)))
    yield "sheet", holes, job, ["new", work / "out", "--from-csv", job]
    network = work / "network.inp"
    network.write_text("[TITLE]\nStore\n[JUNCTIONS]\nA 0 0\nB 0\n[RESERVOIRS]\nR -20\n[PIPES]\nP1 R A 5 21 0.0015 0.5 Open\nP2 A B 4 21 0.0015 0\n"
                       "[EMITTERS]\nA 2.0\nB 3.0\n[OPTIONS]\nUNITS LPM\nHEADLOSS D-W\nSPECIFIC GRAVITY 0.0012\nVISCOSITY 14.5\n[END]\n")
    yield "network", network, job, ["new", work / "out", "--from-inp", job]
    yield "description", TOP / "harness/job/descriptions/model-b.toml", job, ["describe", job]
    yield "batch", TOP / "docs/examples/batch.toml", job, ["batch", job, "--out", work / "out"]
    yield "scenario", TOP / "docs/examples/scenario.toml", job, ["simulate", job, "--tcp", "127.0.0.1:0"]


def measured(command):
    """Exit code, seconds, peak of memory and words of a command."""
    with tempfile.TemporaryFile() as said:
        began = time.monotonic()
        bounded = {"preexec_fn": lambda: resource.setrlimit(resource.RLIMIT_AS, (4 * BYTES, 4 * BYTES))}
        child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=said, stderr=said, **bounded)
        signal.signal(signal.SIGALRM, lambda *_: child.kill())
        signal.alarm(SECONDS)
        _, status, used = os.wait4(child.pid, 0)
        signal.alarm(0)
        child.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        return child.returncode, time.monotonic() - began, used.ru_maxrss * 1024, said.read()[-3000:].decode(errors="replace")


def main(arguments):
    tool, table = arguments[0], "--table" in arguments
    chance, runs, bad, worst = random.Random(1), 0, [], (0.0, 0)
    with tempfile.TemporaryDirectory() as folder:
        work = pathlib.Path(folder)
        for kind, whole, path, command in kinds(tool, work):
            good = (whole / path.name if whole.is_dir() else whole).read_bytes()
            for way, spoil in spoilt(good, chance):
                for left in (work / "job", work / "out"):
                    if left.is_dir() and not left.is_symlink():
                        shutil.rmtree(left)
                    else:
                        left.unlink(missing_ok=True)
                if whole.is_dir():
                    shutil.copytree(whole, work / "job")
                    path.unlink(missing_ok=True)
                path.write_bytes(spoil) if isinstance(spoil, bytes) else spoil(path)
                if command[0] == "simulate" and way == "a mark of byte order, line ends of another system":
                    continue  # Sound, so that it would serve for ever.
                code, seconds, peak, said = measured([tool, *map(str, command)])
                runs, worst = runs + 1, (max(worst[0], seconds), max(worst[1], peak))
                if table:
                    print(f"{kind:18} {way:48} exit {code:3} {seconds:6.1f} s {peak / 1e6:7.0f} MB")
                if code not in (0, 1, 2, 3, 4) or "panicked" in said or seconds >= SECONDS or peak > BYTES:
                    bad.append(f"{kind}, {way}: exit {code}, {seconds:.1f} s, {peak / 1e6:.0f} MB\n{said}")
    print(f"{runs} hostile inputs: at most {worst[0]:.1f} s and {worst[1] / 1e6:.0f} MB; {len(bad)} not as they should be")
    sys.exit("\n".join(bad) if bad else 0)


main(sys.argv[1:])
