"""The invented unit's settings: what keys there are, the image as bytes, and the store that outlives a restart."""
import hashlib
import re
from decimal import Decimal

import cbor2

SCHEMA = "gale-2-settings-1"
SWITCH, TEXT = "switch", "text"
WORDS = ("idle", "trouble", "stage-one", "stage-two")
# key: (factory value, unit, what is allowed)
KEYS = {
    "adapting": (False, None, SWITCH),
    "contact.1": ("trouble", None, WORDS),
    "contact.2": ("idle", None, WORDS),
    "contact.3": ("idle", None, WORDS),
    "draught.hold": (Decimal(2), "min", (Decimal("0.2"), Decimal(5))),
    "draught.less": (Decimal(30), "%", (Decimal(5), Decimal(50))),
    "draught.more": (Decimal(30), "%", (Decimal(5), Decimal(50))),
    "place.building": ("", None, TEXT),
    "place.zone": ("", None, TEXT),
    "rotor": (Decimal(2), None, (Decimal(1), Decimal(4))),
    "stage.1.dose": (Decimal("0.02"), "dB/m", (Decimal("0.001"), Decimal(2))),
    "stage.1.hold": (Decimal(8), "s", (Decimal(0), Decimal(60))),
    "stage.1.keep": (True, None, SWITCH),
    "stage.2.dose": (Decimal("0.05"), "dB/m", (Decimal("0.001"), Decimal(2))),
    "stage.2.hold": (Decimal(8), "s", (Decimal(0), Decimal(60))),
    "stage.2.keep": (True, None, SWITCH),
    "tube.1": (True, None, SWITCH),
    "tube.2": (False, None, SWITCH),
    "tube.3": (False, None, SWITCH),
    "utc.ahead": (Decimal(0), "h", (Decimal(-12), Decimal(14))),
}
ROTOR = {1: 0.55, 2: 0.7, 3: 0.85, 4: 1.0}


class Refused(Exception):
    """A request that the unit does not carry out: its code and why."""

    def __init__(self, code, why):
        super().__init__(why)
        self.code, self.why = code, why


def number(value: Decimal):
    """An integer, or a decimal fraction whose mantissa ten does not divide."""
    if value == value.to_integral_value():
        return int(value)
    sign, digits, exponent = value.normalize().as_tuple()
    mantissa = int("".join(map(str, digits)))
    return cbor2.CBORTag(4, [exponent, -mantissa if sign else mantissa])


def image(values) -> bytes:
    items = [[k, number(v) if isinstance(v, Decimal) else v, KEYS[k][1]] for k, v in sorted(values.items())]
    return cbor2.dumps(items, canonical=True)


def allowed(key, value):
    rule = KEYS[key][2]
    if rule is SWITCH:
        return isinstance(value, bool)
    if rule is TEXT:
        return isinstance(value, str) and len(value.encode()) <= 40
    if rule is WORDS:
        return value in WORDS
    return isinstance(value, Decimal) and rule[0] <= value <= rule[1]


def read_image(data: bytes) -> dict:
    """The values of an image, or a refusal that names the key."""
    try:
        items = cbor2.loads(data)
        canonical = cbor2.dumps([list(i) for i in items], canonical=True)
    except Exception as e:
        raise Refused(14, f"no settings image: {e}"[:90]) from e
    if canonical != data:
        raise Refused(14, "the image is not in deterministic encoding")
    values = {}
    for key, value, unit in items:
        if key not in KEYS or not re.fullmatch(r"[a-z0-9-]+([.][a-z0-9-]+)*", key) or key in values:
            raise Refused(14, f"{key[:60]}: no such item")
        if isinstance(value, (int, Decimal)) and not isinstance(value, bool):
            value = Decimal(value)
        if unit != KEYS[key][1] or not allowed(key, value):
            raise Refused(14, f"{key}: out of range or another unit")
        values[key] = value
    missing = KEYS.keys() - values.keys()
    if missing:
        raise Refused(14, f"{min(missing)}: missing")
    return values


class Store:
    """What a power cut does not take: settings and their revision, baseline, inhibit, boot count, event log, date."""

    def __init__(self):
        self.values = {k: v[0] for k, v in KEYS.items()}
        self.before = dict(self.values)  # what held before the last change
        self.revision, self.boots, self.hellos = 1, 0, 0
        self.baseline, self.baselines = None, 0
        self.inhibited, self.lease = False, 0
        self.log_next, self.log = 1, []
        self.wall_offset_s = None

    def change(self, values, counts=True):
        self.before, self.values = self.values, values
        self.revision += counts

    def manifest(self):
        data = image(self.values)
        return {0: self.revision, 1: len(data), 2: hashlib.sha256(data).digest(), 3: SCHEMA}
