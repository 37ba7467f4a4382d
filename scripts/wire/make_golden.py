"""Writes the golden frames and settings images that the crate's tests read.

    python3 scripts/wire/make_golden.py          # writes protocol-sim/wire/tests/data/
    python3 scripts/wire/make_golden.py --check  # exits 1 if a file there differs

Each line of frames.txt: CDDL rule, conversation, sequence, the bytes on the line in hexadecimal.
"""
import sys
from pathlib import Path

import cbor2
from cobs import cobs

from plumewire import OPERATIONS, REFUSAL, REPLY, REPORT, REQUEST, Frame, encode
from samples import SAMPLES

DATA = Path("protocol-sim/wire/tests/data")


def frames() -> str:
    lines = []
    for number, (rule, value) in enumerate(SAMPLES.items()):
        conversation = 0 if rule == "request-hello" else 0x0102_0000 + number
        if rule == "refusal":
            kind, operation = REFUSAL, OPERATIONS["inhibit-release"]
        else:
            word, name = rule.split("-", 1)
            kind = {"request": REQUEST, "reply": REPLY, "report": REPORT}[word]
            operation = OPERATIONS[{"reading": "readings-start", "log": "log-read"}[name] if kind == REPORT else name]
        frame = Frame(kind, operation, conversation, number, encode(value))
        assert frame.rule() == rule
        lines.append(f"{rule} {conversation:#x} {number} {frame.to_wire().hex()}\n")
    return "".join(lines)


def stuffed() -> str:
    """Plain bytes and what the package `cobs` makes of them."""
    runs = [bytes(n) for n in (1, 2, 3)] + [b"\x11" * n for n in (1, 253, 254, 255, 508, 509)]
    mixed = [b"\x00" + r for r in runs] + [r + b"\x00" for r in runs] + [bytes(range(256)) * 4, bytes(range(255, 0, -1))]
    return "".join(f"{plain.hex()} {cobs.encode(plain).hex()}\n" for plain in runs + mixed)


def image() -> bytes:
    decimal = lambda exponent, mantissa: cbor2.CBORTag(4, [exponent, mantissa])
    items = [
        ["alarm.1.threshold", decimal(-2, 25), "%/m"],
        ["alarm.1.delay", 10, "s"],
        ["fan.setting", 6, None],
        ["inlet.1.in-use", True, None],
        ["inlet.2.in-use", False, None],
        ["inlet.1.flow-low", -20, "%"],
        ["output.3.function", "alarm.2", None],
        ["label", "Cold store, n\u00f6rdl. Wand", None],
        ["x-maker.blob", b"\x00\x01\xfe", None],
        ["clock.drift", decimal(-6, -1_250_001), "s/d"],
    ]
    return encode(sorted(items, key=lambda item: item[0].encode()))


def main() -> int:
    files = {"frames.txt": frames().encode(), "stuffed.txt": stuffed().encode(), "image.bin": image()}
    wrong = 0
    for name, data in files.items():
        path = DATA / name
        if "--check" in sys.argv:
            same = path.exists() and path.read_bytes() == data
            print(f"{path}: {'as made here' if same else 'DIFFERS'}")
            wrong += not same
        else:
            path.write_bytes(data)
            print(f"{path}: {len(data)} bytes")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
