"""A plumewire client in plain Python, sharing no code with the project's own: hello, clock, readings, settings.

    python3 scripts/wire/client.py /dev/ttyUSB0
    python3 scripts/wire/client.py tcp:127.0.0.1:7001 --seconds 5 --rate 10 --keep payloads.txt

Prints one JSON document. Exits 0 when everything was as docs/wire-protocol.md says, 1 with the reason on standard
error when something was not, 4 when the link or the device gave no answer. --keep writes every payload, sent and
received, as `rule hexadecimal`, for check_cddl.py.
"""
import argparse
import hashlib
import json
import os
import random
import select
import socket
import sys
import time
import tty

import cbor2

from plumewire import NAMES, OPERATIONS, REFUSAL, REPLY, REPORT, REQUEST, Bad, Frame, encode

TIMEOUT_S, TRIES = 1.0, 4
STEP_LIMIT = 0.1  # how far the mean device-time interval of readings may be from what was asked for


class NoAnswer(Exception):
    """The link or the device is silent."""


class Link:
    """Bytes to and from a serial port, a pseudo-terminal or a TCP address."""

    def __init__(self, target: str):
        self.socket = None
        if target.startswith("tcp:"):
            host, port = target[4:].rsplit(":", 1)
            self.socket = socket.create_connection((host, int(port)), timeout=5)
            self.fd = self.socket.fileno()
        else:
            self.fd = os.open(target, os.O_RDWR | os.O_NOCTTY)
            if os.isatty(self.fd):
                tty.setraw(self.fd)
        self.pending = bytearray()
        self.discarded = 0

    def send(self, data: bytes):
        while data:
            data = data[os.write(self.fd, data[:512]):]

    def frame(self, until: float):
        """The next sound frame, or None at the time given."""
        while True:
            while (end := self.pending.find(0)) >= 0:
                stuffed = bytes(self.pending[:end])
                del self.pending[:end + 1]
                if not stuffed:
                    continue
                try:
                    frame = Frame.from_stuffed(stuffed)
                except Bad:
                    self.discarded += 1  # what an earlier conversation left, or noise
                    continue
                return frame
            left = until - time.monotonic()
            if left <= 0 or not select.select([self.fd], [], [], left)[0]:
                return None
            data = os.read(self.fd, 4096)
            if not data:
                raise NoAnswer("the other end closed the link")
            self.pending += data


class Client:
    def __init__(self, link: Link, keep):
        self.link, self.keep = link, keep
        self.conversation = self.sequence = self.repeats = 0
        self.reports: list[tuple[int, str, dict]] = []

    def note(self, frame: Frame):
        if self.keep:
            self.keep.write(f"{frame.rule()} {frame.payload.hex()}\n")

    def ask(self, name: str, value: dict) -> dict:
        """The reply to a request; repeated with the same sequence when none comes."""
        self.sequence += 1
        request = Frame(REQUEST, OPERATIONS[name], self.conversation, self.sequence, encode(value))
        self.note(request)
        for attempt in range(TRIES):
            self.repeats += attempt > 0
            self.link.send(request.to_wire())
            until = time.monotonic() + TIMEOUT_S
            while frame := self.link.frame(until):
                if frame.kind == REPORT:
                    self.take_report(frame)
                    continue
                if frame.kind == REQUEST:
                    raise Bad("the device sent a request")
                if (frame.operation, frame.sequence) != (request.operation, request.sequence):
                    continue  # the answer to something asked before
                if name != "hello" and frame.conversation != self.conversation:
                    continue
                self.note(frame)
                answer = frame.value()
                if frame.kind == REFUSAL:
                    raise Bad(f"{name} was refused: {answer[1]} (code {answer[0]})")
                assert frame.kind == REPLY
                if name == "hello":
                    self.conversation = frame.conversation
                return answer
        raise NoAnswer(f"no answer to {name} in {TRIES} tries")

    def take_report(self, frame: Frame):
        if self.conversation and frame.conversation == self.conversation:
            self.note(frame)
            self.reports.append((frame.sequence, NAMES[frame.operation], frame.value()))


def need(condition: bool, words: str):
    if not condition:
        raise Bad(words)


def hello(client: Client) -> dict:
    token = random.SystemRandom().getrandbits(32)
    reply = client.ask("hello", {0: 1, 1: 1, 2: token})
    need(reply[1] == token, "the hello's token did not come back")
    need(reply[0] == 1, f"version {reply[0]} was chosen, 1 was offered")
    need(client.conversation != 0, "the conversation nonce is 0")
    caps = reply[9]
    need(1 <= caps[0] <= 8 and 1 <= caps[9] <= 20 and 1 <= caps[11] <= 960, f"capabilities out of range: {caps}")
    return reply


def clock(client: Client) -> dict:
    """The exchange of least delay out of five (RFC 5905 section 8)."""
    best = None
    for _ in range(5):
        t1 = time.monotonic_ns() // 1000
        reply = client.ask("clock", {0: t1})
        t4 = time.monotonic_ns() // 1000
        need(reply[0] == t1, "T1 did not come back")
        need(reply[2] >= reply[1], "the device answered before it was asked (T3 < T2)")
        offset, delay = ((reply[1] - t1) + (reply[2] - t4)) / 2, (t4 - t1) - (reply[2] - reply[1])
        if best is None or delay < best[1]:
            best = (offset, delay)
    return {"offset_us": best[0], "delay_us": best[1]}


def readings(client: Client, caps: dict, rate: int, seconds: float) -> dict:
    rate = min(rate, caps[9])
    client.reports.clear()
    reply = client.ask("readings-start", {0: rate})
    need(1 <= reply[0] <= 20, f"a stream of {reply[0]} Hz")
    until = time.monotonic() + seconds
    while frame := client.link.frame(until):
        if frame.kind == REPORT:
            client.take_report(frame)
    client.ask("readings-stop", {})
    taken = [(sequence, value) for sequence, name, value in client.reports if name == "readings-start"]
    need(len(taken) >= 2, f"{len(taken)} readings in {seconds} s")
    numbers = [sequence for sequence, _, _ in client.reports]
    lost = numbers[-1] - numbers[0] + 1 - len(numbers)
    need(lost >= 0 and numbers == sorted(set(numbers)), "report numbers do not ascend")
    times = [value[0] for _, value in taken]
    need(all(a < b for a, b in zip(times, times[1:])), "device times do not ascend")
    for _, value in taken:
        need(len(value[2]) == caps[0], f"{len(value[2])} flows for {caps[0]} inlets")
        need(len(value[3]) == (caps[0] if caps[5] else 1), f"{len(value[3])} obscurations")
    dropped = taken[-1][1][1] - taken[0][1][1]
    interval = (times[-1] - times[0]) / (len(times) - 1 + lost + dropped) * 1e-6
    need(abs(interval * reply[0] - 1) <= STEP_LIMIT, f"readings every {interval:.4f} s of device time at {reply[0]} Hz")
    return {"rate_hz": reply[0], "count": len(taken), "lost": lost, "dropped": dropped, "interval_s": interval,
            "last": {str(key): value for key, value in taken[-1][1].items()}}


def settings(client: Client, caps: dict) -> dict:
    manifest = client.ask("settings-manifest", {})
    image = b""
    while len(image) < manifest[1]:
        part = client.ask("settings-read", {0: manifest[0], 1: len(image), 2: min(caps[11], manifest[1] - len(image))})
        need(part[0] == len(image) and part[1], f"a part at {part[0]} of {len(part[1])} bytes")
        image += part[1]
    need(len(image) == manifest[1], f"{len(image)} bytes, {manifest[1]} announced")
    need(hashlib.sha256(image).digest() == manifest[2], "the image does not have its SHA-256")
    items = cbor2.loads(image, allow_indefinite=False)
    need(encode(items) == image, "the image is not deterministic")
    keys = [item[0].encode() for item in items]
    need(keys == sorted(set(keys)), "the items are not in ascending order of their keys")
    plain = lambda v: v.hex() if isinstance(v, bytes) else v if isinstance(v, (bool, int, str)) else str(v)
    return {"revision": manifest[0], "schema": manifest[3], "sha256": manifest[2].hex(),
            "items": [{"key": key, "value": plain(value), "unit": unit} for key, value, unit in items]}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("target", help="path of a serial port or pseudo-terminal, or tcp:HOST:PORT")
    parser.add_argument("--rate", type=int, default=10, help="readings per second (default 10)")
    parser.add_argument("--seconds", type=float, default=3.0, help="how long to stream readings (default 3)")
    parser.add_argument("--keep", type=argparse.FileType("w"), help="write every payload to this file")
    args = parser.parse_args()
    try:
        link = Link(args.target)
        client = Client(link, args.keep)
        who = hello(client)
        result = {
            "identity": {"maker": who[2], "model": who[3], "serial": who[4], "firmware": who[5],
                         "boot_id": f"{who[6]:#018x}", "uptime_us": who[7], "starting": who[8]},
            "capabilities": {str(key): value for key, value in who[9].items()},
            "clock": clock(client),
            "readings": readings(client, who[9], args.rate, args.seconds),
            "settings": settings(client, who[9]),
            "line": {"discarded": link.discarded, "repeats": client.repeats},
        }
    except Bad as e:
        print(f"not as specified: {e}", file=sys.stderr)
        return 1
    except (NoAnswer, OSError) as e:
        print(f"no answer: {e}", file=sys.stderr)
        return 4
    finally:
        if args.keep:
            args.keep.flush()
    json.dump(result, sys.stdout, indent=2, default=str)
    print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
