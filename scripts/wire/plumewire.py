"""plumewire frames in plain Python: an implementation of docs/wire-protocol.md that shares no code with the crate.

Byte stuffing by `cobs`, the check by `crccheck`, payloads by `cbor2`.
"""
import struct
from dataclasses import dataclass

import cbor2
from cobs import cobs
from crccheck.crc import Crc32Iscsi  # CRC-32C, as in RFC 3720

VERSION = 1
REQUEST, REPLY, REFUSAL, REPORT = 1, 2, 3, 4
MAX_FRAME = 1024
HEADER = struct.Struct(">BBBII")  # version, kind, operation, conversation, sequence

OPERATIONS = {
    "hello": 0x01, "clock": 0x02, "restart": 0x03, "wall-clock": 0x04, "wall-clock-set": 0x05,
    "readings-start": 0x10, "readings-stop": 0x11,
    "settings-manifest": 0x20, "settings-read": 0x21,
    "write-begin": 0x28, "write-chunk": 0x29, "write-commit": 0x2A, "write-status": 0x2B, "write-abandon": 0x2C,
    "baseline-take": 0x30, "baseline-status": 0x31, "baseline-read": 0x32,
    "inhibit": 0x40, "inhibit-renew": 0x41, "inhibit-release": 0x42, "outputs-status": 0x43,
    "drive": 0x44, "undrive": 0x45, "reset-latches": 0x46,
    "log-read": 0x50, "log-note": 0x51,
}
NAMES = {code: name for name, code in OPERATIONS.items()}


class Bad(Exception):
    """Something received is not what the specification says."""


@dataclass
class Frame:
    kind: int
    operation: int
    conversation: int
    sequence: int
    payload: bytes

    def rule(self) -> str:
        """The CDDL rule that the payload follows."""
        if self.kind == REFUSAL:
            return "refusal"
        name = NAMES[self.operation]
        if self.kind == REPORT:
            return {"readings-start": "report-reading", "log-read": "report-log"}[name]
        return {REQUEST: "request-", REPLY: "reply-"}[self.kind] + name

    def to_wire(self) -> bytes:
        body = HEADER.pack(VERSION, self.kind, self.operation, self.conversation, self.sequence) + self.payload
        plain = body + struct.pack("<I", Crc32Iscsi.calc(body))
        assert len(plain) <= MAX_FRAME
        return b"\0" + cobs.encode(plain) + b"\0"

    @staticmethod
    def from_stuffed(stuffed: bytes) -> "Frame":
        try:
            plain = cobs.decode(stuffed)
        except cobs.DecodeError as e:
            raise Bad(f"broken byte stuffing: {e}") from e
        if not HEADER.size + 4 <= len(plain) <= MAX_FRAME:
            raise Bad(f"frame of {len(plain)} bytes")
        body, check = plain[:-4], struct.unpack("<I", plain[-4:])[0]
        if Crc32Iscsi.calc(body) != check:
            raise Bad("CRC does not match")
        version, kind, operation, conversation, sequence = HEADER.unpack_from(body)
        if version != VERSION or kind not in (REQUEST, REPLY, REFUSAL, REPORT):
            raise Bad(f"version {version}, kind {kind}")
        return Frame(kind, operation, conversation, sequence, body[HEADER.size:])

    def value(self) -> dict:
        """The payload, refused unless it is exactly the deterministic encoding of an integer-keyed map."""
        try:
            value = cbor2.loads(self.payload, allow_indefinite=False, allow_duplicate_keys=False)
        except Exception as e:  # cbor2 raises several kinds
            raise Bad(f"payload of {self.rule()} is not CBOR: {e}") from e
        if not isinstance(value, dict) or not all(type(key) is int for key in value):
            raise Bad(f"payload of {self.rule()} is not a map with integer keys")
        if encode(value) != self.payload:
            raise Bad(f"payload of {self.rule()} is not deterministic: {self.payload.hex()}")
        return value


def encode(value) -> bytes:
    """Core deterministic CBOR. For integer keys in range cbor2's canonical order is the bytewise one."""
    return cbor2.dumps(value, canonical=True)


def split(stream: bytes) -> list[bytes]:
    """The stuffed frames of a whole stream."""
    return [piece for piece in stream.split(b"\0") if piece]
