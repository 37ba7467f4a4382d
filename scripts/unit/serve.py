"""The unit's end of the protocol, from docs/wire-protocol.md alone: conversations, at most once, every operation.

Frames and their encoding are those of scripts/wire/plumewire.py, which shares no code with the crate.
"""
import hashlib
from zlib import crc32

from device import STEP
from plumewire import MAX_FRAME, NAMES, REFUSAL, REPLY, REPORT, REQUEST, Bad, Frame, encode
from settings import Refused, image, read_image
from watch import INLETS, LEVELS, OUTPUTS

LEASE_MAX, RATE_MAX, IMAGE_MAX, CHUNK_MAX = 120, 10, 4096, 384
(VERSION, CONVERSATION, STALE, REUSED, UNSUPPORTED, MALFORMED, RANGE, BUSY, STARTING, REVISION, DIGEST, TRANSACTION, OFFSET,
 SETTINGS, NO_BASELINE, LEASE, NOT_CLEAR) = range(1, 18)
HELLO = 0x01
READING, LOG = 0x10, 0x50
# Kinds of the fields of a request, by operation name; field n has key n.
SHAPES = {
    "hello": (int, int, int), "clock": (int,), "wall-clock-set": (int,), "readings-start": (int,),
    "settings-read": (int, int, int), "write-begin": (int, int, bytes), "write-chunk": (int, int, bytes),
    "write-commit": (int, bytes), "write-abandon": (int,), "inhibit": (int,), "inhibit-renew": (int, int),
    "inhibit-release": (int,), "drive": (int, int), "undrive": (int,), "log-read": (int,),
}


def within(value, low, high, what):
    if not low <= value <= high:
        raise Refused(RANGE, f"{what} is {low} to {high}")


class Link:
    """What a unit remembers of its line. It begins anew with each start of the unit."""

    def __init__(self):
        self.nonce, self.opened, self.last, self.answer = 0, None, None, b""
        self.rate, self.reports, self.next_reading, self.stamp, self.log_seen, self.dropped = 0, 0, 0.0, 0, 0, 0


class Server:
    """Bytes in, bytes out, for the unit of a site."""

    def __init__(self, site, lies):
        self.site, self.unit, self.store, self.lies = site, site.unit, site.unit.store, lies
        self.collected, self.transaction, self.transactions = bytearray(), None, 0

    def link(self):
        """The link of this start; a start takes conversation, stream and open transaction."""
        if self.unit.link is None:
            self.unit.link, self.transaction = Link(), None
        return self.unit.link

    def feed(self, data) -> bytes:
        if self.unit.silent(self.site.now) or not self.site.cabled:
            return b""
        out = b""
        for byte in data:
            if byte:
                if len(self.collected) <= MAX_FRAME + 8:
                    self.collected.append(byte)
                continue
            stuffed, self.collected = bytes(self.collected), bytearray()
            if stuffed:
                out += self.one(stuffed)
        return out

    def one(self, stuffed) -> bytes:
        try:
            frame = Frame.from_stuffed(stuffed)
        except Bad:
            return b""
        if frame.kind != REQUEST:
            return b""
        link = self.link()
        what = (frame.conversation, frame.sequence, frame.operation, crc32(frame.payload))
        if what == link.last:
            return link.answer
        hello = frame.operation == HELLO and frame.conversation == 0
        try:
            if hello and what == link.opened:
                raise Refused(STALE, "this hello was answered before")
            if not hello and (frame.conversation != link.nonce or not link.nonce):
                raise Refused(CONVERSATION, "no such conversation")
            if not hello and link.last and link.last[0] == link.nonce:
                if frame.sequence == link.last[1]:
                    raise Refused(REUSED, "another request had this sequence")
                if frame.sequence < link.last[1]:
                    raise Refused(STALE, "a later request was answered")
        except Refused as no:  # such refusals are not kept
            return self.refuse(frame, no).to_wire()
        try:
            reply = self.carry_out(frame)
            nonce = self.link().nonce if hello else frame.conversation
            answer = Frame(REPLY, frame.operation, nonce, frame.sequence, encode(reply)).to_wire()
        except Refused as no:
            answer = self.refuse(frame, no).to_wire()
        if hello:
            link.opened = what
        link.last, link.answer = what, answer
        return answer

    def refuse(self, frame, no):
        return Frame(REFUSAL, frame.operation, frame.conversation, frame.sequence, encode({0: no.code, 1: no.why}))

    def carry_out(self, frame):
        name = NAMES.get(frame.operation)
        do = getattr(self, "op_" + (name or "?").replace("-", "_"), None)
        if do is None:
            raise Refused(UNSUPPORTED, "no such operation here")
        try:
            given = frame.value()
        except (Bad, KeyError) as e:
            raise Refused(MALFORMED, str(e)[:90]) from e
        shape = SHAPES.get(name, ())
        fields = [given.get(i) for i in range(len(shape))]
        if any(type(f) is not kind for f, kind in zip(fields, shape)):
            raise Refused(MALFORMED, f"{name} lacks a field, or it is of another type")
        return do(*fields)

    def running(self):
        if self.unit.starting(self.site.now):
            raise Refused(STARTING, "starting")

    # --- conversation
    def op_hello(self, low, high, token):
        if not low <= 1 <= high:
            raise Refused(VERSION, "speaks version 1")
        link = self.link()
        self.store.hellos = (self.store.hellos + 1) & 0xFFFF
        link.nonce = (self.store.boots & 0xFFFF) << 16 | self.store.hellos
        link.rate = 0
        now = self.site.now
        return {
            0: 1, 1: token, 2: "Invented Workshop", 3: "Gale 2", 4: "G2-000417", 5: "1.9.2", 6: self.unit.boot_id(),
            7: self.unit.micros(now), 8: self.unit.starting(now),
            9: {0: INLETS, 1: LEVELS, 2: OUTPUTS, 3: 1, 4: 0b111111, 5: False, 7: 2_500_000_000, 8: 120_000_000, 9: RATE_MAX,
                10: IMAGE_MAX, 11: CHUNK_MAX, 12: LEASE_MAX, 13: True, 14: True},
        }

    def op_clock(self, t1):
        now = self.unit.micros(self.site.exact())
        return {0: t1, 1: now, 2: now}

    def op_restart(self):
        if not self.lies("restart-not-made"):
            self.unit.restart_at = self.site.now + 0.5
        self.unit.note(13, "restart asked for")
        return {}

    def op_wall_clock(self):
        ahead = int(self.store.values["utc.ahead"] * 60)
        offset = self.store.wall_offset_s
        known = {} if offset is None else {0: int((self.site.exact() + offset) * 1000)}
        return {**known, 1: ahead}

    def op_wall_clock_set(self, ms):
        self.store.wall_offset_s = ms / 1000 - self.site.exact()
        self.unit.note(14, "date and time set")
        return self.op_wall_clock()

    # --- readings
    def op_readings_start(self, hz):
        within(hz, 1, RATE_MAX, "the rate")
        link = self.link()
        if link.rate == 0:
            link.next_reading, link.log_seen, link.dropped = self.site.now, self.store.log_next, 0
        link.rate = hz
        return {0: hz}

    def op_readings_stop(self):
        self.link().rate = 0
        return {}

    def reports(self, late) -> bytes:
        """Readings and entries of the log that are due; a reading that is over half a second late is dropped and counted."""
        unit, now, out = self.unit, self.site.now, b""
        if unit.link is None or unit.silent(now) or not unit.link.rate:
            return out
        link = unit.link
        for entry in [e for e in unit.log if e[0] >= link.log_seen]:
            link.log_seen = entry[0] + 1
            out += self.report(LOG, entry)
        if now >= link.next_reading:
            link.next_reading = max(link.next_reading + 1 / link.rate, now - 1)
            if late > 0.5 + STEP:
                link.dropped += 1
                return out
            stamp = unit.micros(now)
            if self.lies("stamps-repeat") and link.reports % 2:
                stamp = link.stamp
            link.stamp = stamp
            out += self.report(READING, unit.reading(now, stamp, link.dropped))
        return out

    def report(self, operation, payload):
        link = self.unit.link
        link.reports += 1
        return Frame(REPORT, operation, link.nonce, link.reports, encode(payload)).to_wire()

    # --- settings
    def op_settings_manifest(self):
        return self.store.manifest()

    def op_settings_read(self, revision, offset, length):
        if revision != self.store.revision:
            raise Refused(REVISION, "another revision is in force")
        data = image(self.store.values)
        within(offset, 0, len(data), "the offset")
        within(length, 1, CHUNK_MAX, "the length")
        return {0: offset, 1: data[offset : offset + length]}

    def op_write_begin(self, base, length, digest):
        if self.transaction or self.unit.taking:
            raise Refused(BUSY, "a transaction is open or a baseline is being taken")
        if base != self.store.revision:
            raise Refused(REVISION, "another revision is in force")
        within(length, 1, IMAGE_MAX, "the length")
        self.transactions += 1
        self.transaction = {"number": self.transactions, "base": base, "length": length, "digest": digest, "data": b""}
        return {0: self.transactions}

    def opened(self, number):
        if self.transaction is None or self.transaction["number"] != number:
            raise Refused(TRANSACTION, "no such transaction")
        return self.transaction

    def op_write_chunk(self, number, offset, data):
        t = self.opened(number)
        if offset != len(t["data"]):
            raise Refused(OFFSET, f"{len(t['data'])} bytes are here")
        if not 1 <= len(data) <= CHUNK_MAX or offset + len(data) > t["length"]:
            raise Refused(RANGE, "a part of no length, or too long")
        t["data"] += data
        return {0: len(t["data"])}

    def op_write_commit(self, number, digest):
        t = self.opened(number)
        data = t["data"]
        if len(data) != t["length"] or not digest == t["digest"] == hashlib.sha256(data).digest():
            raise Refused(DIGEST, "not the image that was announced")
        if t["base"] != self.store.revision:
            raise Refused(REVISION, "settings were changed meanwhile")
        values = read_image(data)
        old = self.store.values
        self.transaction = None
        self.store.change(values, counts=not self.lies("revision-stuck"))
        self.unit.before = dict(old)
        if any(old[k] != values[k] for k in values if k == "rotor" or k.startswith("tube.")):
            self.unit.void_baseline()
        self.unit.note(7, "settings changed")
        return {0: self.store.revision}

    def op_write_status(self):
        t = self.transaction
        return {0: self.store.revision} | (
            {1: {0: t["number"], 1: len(t["data"]), 2: t["length"], 3: t["digest"]}} if t else {})

    def op_write_abandon(self, number):
        self.opened(number)
        self.transaction = None
        return {}

    # --- baseline
    def op_baseline_take(self):
        self.running()
        if self.unit.off_speed() and not self.lies("fan-slow") or self.unit.taking:
            raise Refused(BUSY, "the fan is not at speed, or one is being taken")
        self.unit.baseline_take(self.site.now)
        return self.op_baseline_status()

    def op_baseline_status(self):
        unit, held = self.unit, self.store.baseline
        number = {2: held["number"]} if held else {}
        if unit.taking:
            return {0: 1, 1: min(99, int(100 * len(unit.taking[1]) / 40)), **number}
        if unit.failed:
            return {0: 3, 1: 0, **number, 3: unit.failed}
        return {0: 2, 1: 100, **number} if held else {0: 0, 1: 0}

    def op_baseline_read(self):
        b = self.store.baseline
        if b is None:
            raise Refused(NO_BASELINE, "take one")
        nano = lambda flows: [round(f / 60_000 * 1e12) for f in flows]
        return {0: b["number"], 1: nano(b["flow"]), 2: nano(b["u"]), 3: 293_150, 4: round(75_000 * b["speed"]), 5: 40_000,
                6: b["boot"], 7: b["at"], 8: b["revision"]}

    # --- outputs
    def op_inhibit(self, seconds):
        within(seconds, 1, LEASE_MAX, "the lease")
        self.unit.outputs.inhibit(self.site.now, seconds)
        self.unit.note(9, "inhibited")
        return {0: self.store.lease, 1: seconds}

    def op_inhibit_renew(self, number, seconds):
        within(seconds, 1, LEASE_MAX, "the lease")
        outputs = self.unit.outputs
        if not self.store.inhibited or number != self.store.lease or outputs.until is None:
            raise Refused(LEASE, "no such lease, or it has lapsed")
        outputs.until = self.site.now + seconds
        return {0: number, 1: seconds}

    def op_inhibit_release(self, number):
        if not self.store.inhibited or number != self.store.lease:
            raise Refused(LEASE, "no such lease")
        if not self.unit.clear():
            raise Refused(NOT_CLEAR, "smoke, a latched level or a driven output")
        self.unit.outputs.release()
        self.unit.note(11, "outputs given back")
        return {}

    def op_outputs_status(self):
        outputs, now = self.unit.outputs, self.site.now
        state = 0 if not self.store.inhibited else 1 if outputs.until is not None else 2
        left = max(0, int(1000 * (outputs.until - now))) if state == 1 else 0
        lease = {1: self.store.lease} if state else {}
        return {0: state, **lease, 2: left, 3: sum(1 << o for o in outputs.driven), 4: self.unit.operated()}

    def op_drive(self, output, seconds):
        self.running()
        within(output, 1, OUTPUTS, "an output")
        within(seconds, 1, 60, "the time")
        self.unit.drive(self.site.now, output, seconds)
        return {}

    def op_undrive(self, output):
        within(output, 1, OUTPUTS, "an output")
        if not self.lies("drive-stays"):
            driven = output % OUTPUTS + 1 if self.lies("drives-other-output") else output
            self.unit.outputs.driven.pop(driven - 1, None)
        return {}

    def op_reset_latches(self):
        unit = self.unit
        unit.alarms.reset()
        unit.faults_latched = unit.faults
        unit.note(6, "latches reset")
        return {0: unit.alarms.bits(unit.alarms.latched), 1: unit.faults_latched}

    def op_log_read(self, position):
        log = self.unit.log
        oldest = log[0][0] if log else self.store.log_next
        page = [e for e in log if e[0] >= position][:7]
        return {0: oldest, 1: page[-1][0] + 1 if page else max(position, oldest), 2: page}
