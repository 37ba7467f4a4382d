"""Hostile clients at the page of a demonstration: none gets in, none holds the job up.

    python3 scripts/page/hostile.py target/debug/plumeline

Slow headers, idle connections by the hundred, garbage, frames of every wrong kind, huge ones, foreign origins and rebound names, guessed
codes, photos without end; meanwhile the job runs on to its verdict.
"""
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

SEED = 20261129
refused = {"closed": 0, "answered": 0}


def connect(address):
    host, port = address.rsplit(":", 1)
    s = socket.create_connection((host, int(port)), timeout=20)
    return s


def upgrade(address, origin=None, host=None):
    s = connect(address)
    s.sendall(f"GET /socket HTTP/1.1\r\nHost: {host or address}\r\nOrigin: {origin or 'http://' + address}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode())
    return s


def drain(s):
    """What comes until the other end closes."""
    out = b""
    try:
        while part := s.recv(65536):
            out += part
    except OSError:
        pass
    s.close()
    refused["closed"] += 1
    return out


def slow_headers(address, dice):
    s = connect(address)
    try:
        for byte in b"GET / HTTP/1.1\r\nHost: x\r\nX-Long: " + b"a" * 60:
            s.sendall(bytes([byte]))
            time.sleep(0.5)
    except OSError:
        pass
    assert b"200 OK" not in drain(s)


def garbage(address, dice):
    s = connect(address)
    try:
        s.sendall(dice.randbytes(dice.randrange(1, 5000)))
    except OSError:
        pass
    assert b"welcome" not in drain(s)


def frames(address, dice):
    s = upgrade(address)
    try:
        s.recv(4096)
        kind, length = dice.choice([0x81, 0x82, 0x88, 0x89, 0x83, 0xF1, 0x01]), dice.choice([0, 5, 126, 127])
        s.sendall(bytes([kind, 0x80 | length]) + dice.randbytes(dice.randrange(0, 3000)))
        s.shutdown(socket.SHUT_WR)
    except OSError:
        pass
    out = drain(s)
    assert b'"m":"set"' not in out and b"welcome" not in out


def foreign(address, dice):
    s = upgrade(address, *dice.choice([("http://other.example", None), (None, "other.example"), ("null", None)]))
    s.settimeout(20)
    head = s.recv(4096)
    assert head.startswith((b"HTTP/1.1 403", b"HTTP/1.1 421")), head[:60]
    s.close()
    refused["answered"] += 1


def photo(address, dice):
    s = connect(address)
    try:
        s.sendall(f"POST /photo HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nx-code: {dice.randbytes(16).hex()}\r\nContent-Length: 1000000000000\r\n\r\n".encode())
        for _ in range(50):
            s.sendall(b"\xff" * 65536)
    except OSError:
        pass
    assert b"200 OK" not in drain(s)


def main():
    tool, dice = str(Path(sys.argv[1]).resolve()), random.Random(SEED)
    folder = tempfile.mkdtemp(prefix="hostile-")
    said = open(f"{folder}/said.txt", "w")
    job = subprocess.Popen([tool, "demo", "--small", "--out", f"{folder}/job", "--page=127.0.0.1:0", "--speed", "30"], stdout=said, stderr=subprocess.STDOUT)
    address = None
    for _ in range(100):
        found = re.search(r"http://([\d.:]+)/#", Path(f"{folder}/said.txt").read_text())
        if found:
            address = found[1]
            break
        time.sleep(0.1)
    assert address, Path(f"{folder}/said.txt").read_text()
    idle = []
    for _ in range(300):
        try:
            idle.append(connect(address))
        except OSError:
            pass
    attacks = [garbage, frames, foreign, photo]
    failed, began, rounds = [], time.monotonic(), 0
    slow = [threading.Thread(target=slow_headers, args=(address, dice), daemon=True) for _ in range(10)]
    time.sleep(16)  # those that only stand there are let go
    for thread in slow:
        thread.start()
    while job.poll() is None and time.monotonic() - began < 400:
        attack = attacks[rounds % len(attacks)]
        try:
            attack(address, dice)
        except AssertionError as e:
            failed.append((attack.__name__, str(e)))
        except OSError:
            refused["closed"] += 1
        rounds += 1
    status = Path(f"/proc/{job.pid}/status").read_text() if job.poll() is None and os.path.exists(f"/proc/{job.pid}/status") else ""
    assert job.wait(timeout=60) == 0, Path(f"{folder}/said.txt").read_text()[-2000:]
    assert not failed, failed[:3]
    assert rounds > 40, f"{rounds} rounds {status}"
    print(f"{rounds} attacks and {len(idle)} idle connections; {refused}; the job passed")


if __name__ == "__main__":
    main()
