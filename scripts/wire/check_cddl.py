"""Checks payloads against docs/wire-protocol.cddl with pycddl.

    python3 scripts/wire/check_cddl.py [FILE ...]

Checked are the payloads made here, those in the golden frames, and every line `rule payload-in-hexadecimal` of each
FILE: the crate's own (cargo run -q -p plumewire --example dump), or what client.py kept with --keep. Each must also
be deterministic. To show that the check can fail, payloads that break a rule are tried too and must be refused.
"""
import sys
from pathlib import Path

import cbor2
import pycddl

from plumewire import Frame, encode, split
from samples import SAMPLES

CDDL = Path("docs/wire-protocol.cddl").read_text(encoding="utf-8")
GOLDEN = Path("protocol-sim/wire/tests/data")
schemas: dict[str, pycddl.Schema] = {}


def integer_keys(value) -> bool:
    """Whether every map has integer keys only; pycddl 0.6.4 lets others pass beside `* int => any`."""
    if isinstance(value, dict):
        return all(type(key) is int and integer_keys(item) for key, item in value.items())
    return all(map(integer_keys, value)) if isinstance(value, list) else True


def image_parts(image) -> list | None:
    """The parts of a settings image, each with its rule; None if the image is not in the right shape and order.

    pycddl 0.6.4 cannot validate arrays of mixed types, so it gets the parts; what it overlooks is checked here.
    """
    if not isinstance(image, list) or not all(isinstance(item, list) and len(item) == 3 for item in image):
        return None
    keys = [item[0].encode() if isinstance(item[0], str) else b"" for item in image]
    if keys != sorted(set(keys)):
        return None
    parts = []
    for key, value, unit in image:
        rule = "setting-value"
        if isinstance(value, list):
            return None
        if isinstance(value, cbor2.CBORTag):
            rule = "decimal"
            if value.tag != 4 or value.value[0] >= 0 or value.value[1] % 10 == 0:
                return None
        parts += [("setting-key", key), (rule, value), ("tstr / null", unit)]
    return parts


def valid(rule: str, payload: bytes) -> str | None:
    """None if pycddl finds that the payload follows the rule; otherwise what it says."""
    if rule not in schemas:
        schemas[rule] = pycddl.Schema(f"root = {rule}\n{CDDL}")
    try:
        schemas[rule].validate_cbor(payload)
    except pycddl.ValidationError as e:
        return str(e).splitlines()[0]
    return None


def accepted(rule: str, payload: bytes, quiet: bool = False) -> bool:
    """Whether the payload is deterministic CBOR that follows the rule."""
    # A decimal fraction is wanted as it stands, not as a number.
    value = cbor2.loads(payload, semantic_decoders={4: lambda pair, _: cbor2.CBORTag(4, pair)})
    why = None
    if encode(value) != payload:
        why = "not deterministic"
    elif rule == "settings-image":
        parts = image_parts(value)
        faults = ["shape, order or decimals"] if parts is None else [valid(r, encode(v)) for r, v in parts]
        why = next((fault for fault in faults if fault), None)
    elif not integer_keys(value):
        why = "a key is not an integer"
    else:
        why = valid(rule, payload)
    if why and not quiet:
        print(f"  {rule}: {why}", file=sys.stderr)
    return why is None


def broken():
    """Payloads, one rule each, that must be refused."""
    for rule, value in SAMPLES.items():
        for key in value:
            if (rule, key) in {("reply-baseline-status", 2), ("reply-baseline-status", 3), ("reply-write-status", 1),
                               ("reply-outputs-status", 1), ("reply-wall-clock", 0), ("reply-wall-clock-set", 0)}:
                continue  # optional
            yield f"{rule} without key {key}", rule, {k: v for k, v in value.items() if k != key}
            yield f"{rule} with a float at key {key}", rule, {**value, key: 1.5}
    yield "rate of 0 Hz", "request-readings-start", {0: 0}
    yield "rate of 21 Hz", "request-readings-start", {0: 21}
    yield "text of 97 bytes", "refusal", {0: 1, 1: "x" * 97}
    yield "true as a sample", "report-reading", {**SAMPLES["report-reading"], 4: True}
    yield "nine inlets", "report-reading", {**SAMPLES["report-reading"], 2: [0] * 9}
    yield "text key", "request-drive", {0: 3, 1: 10, "x": 1}
    yield "short digest", "request-write-commit", {0: 5, 1: bytes(31)}
    yield "image item of two", "settings-image", [["a", 1]]
    yield "image item with a float", "settings-image", [["a", 0.5, None]]
    yield "decimal with exponent 1", "settings-image", [["a", cbor2.CBORTag(4, [1, 5]), None]]
    yield "decimal with exponent -19", "settings-image", [["a", cbor2.CBORTag(4, [-19, 5]), None]]
    yield "tag 5", "settings-image", [["a", cbor2.CBORTag(5, [-1, 5]), None]]
    yield "image key in capitals", "settings-image", [["A", 1, None]]


def main() -> int:
    cases = [(f"sample {rule}", rule, encode(value)) for rule, value in SAMPLES.items()]
    for line in (GOLDEN / "frames.txt").read_text().splitlines():
        frame = Frame.from_stuffed(split(bytes.fromhex(line.split()[3]))[0])
        cases.append((f"golden {frame.rule()}", frame.rule(), frame.payload))
    cases.append(("golden image", "settings-image", (GOLDEN / "image.bin").read_bytes()))
    for name in sys.argv[1:]:
        for number, line in enumerate(Path(name).read_text().splitlines(), 1):
            rule, payload = line.split()
            cases.append((f"{name}:{number} {rule}", rule, bytes.fromhex(payload)))
    bad = [title for title, rule, payload in cases if not accepted(rule, payload)]
    sys.stderr.flush()
    missed, tried = [], 0
    for title, rule, value in broken():
        tried += 1
        if accepted(rule, encode(value), quiet=True):
            missed.append(title)
    for title in bad:
        print(f"NOT VALID: {title}")
    for title in missed:
        print(f"ACCEPTED THOUGH BROKEN: {title}")
    rules = {rule for _, rule, _ in cases}
    print(f"{len(cases)} payloads of {len(rules)} rules: {len(bad)} not valid; {tried} broken ones: {len(missed)} accepted")
    return 1 if bad or missed or not cases else 0


if __name__ == "__main__":
    sys.exit(main())
