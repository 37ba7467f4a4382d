#!/usr/bin/env python3
"""Reads an input log (trace.pcapng) without any code of plumeline, checks every checksum and the chain,
and prints one line per record. Only the standard library. See docs/trace-format.md.

    python3 scripts/check_trace.py trace.pcapng            # the records, one JSON object per line
    python3 scripts/check_trace.py trace.pcapng --quiet    # only the end: offset, index, SHA-256

Exit status 1 and a message on the error stream if anything is wrong.
"""
import argparse
import hashlib
import json
import struct
import sys
import zlib

SECTION, INTERFACE, PACKET = 0x0A0D0D0A, 1, 6


class Bad(Exception):
    pass


def options(raw):
    found = {}
    while raw:
        code, length = struct.unpack_from("<HH", raw)
        if code == 0:
            break
        found[code] = raw[4 : 4 + length]
        raw = raw[4 + (length + 3) // 4 * 4 :]
    return found


def records(data):
    """Yields (instant in us, direction, content, offset, index, hash)."""
    at, index, digest, interfaces, parts = 0, 0, hashlib.sha256(), [], None
    last = 0
    while at < len(data):
        if len(data) - at < 12:
            raise Bad(f"cut off within the block at byte {at}")
        kind, length = struct.unpack_from("<II", data, at)
        if length % 4 or not 12 <= length <= 256 * 1024:
            raise Bad(f"block at byte {at} claims {length} bytes")
        block = data[at : at + length]
        if len(block) < length:
            raise Bad(f"cut off within the block at byte {at}")
        if struct.unpack_from("<I", block, length - 4)[0] != length:
            raise Bad(f"block at byte {at} does not end as it begins")
        before = digest.digest()
        digest.update(block)
        body = block[8:-4]
        if kind == SECTION:
            interfaces = []
        elif kind == INTERFACE:
            interfaces.append(struct.unpack_from("<H", body)[0])
        elif kind == PACKET:
            if interfaces not in ([147, 148], [147, 148, 147]):
                raise Bad(f"interfaces {interfaces} are not those of an input log")
            interface, high, low, captured, original = struct.unpack_from("<IIIII", body)
            content = body[20 : 20 + captured]
            opts = options(body[20 + (captured + 3) // 4 * 4 :])
            if captured != original:
                raise Bad(f"packet at byte {at} was cut short")
            if opts.get(3) != b"\x02" + struct.pack("<I", zlib.crc32(content)):
                raise Bad(f"packet at byte {at} does not match its CRC-32")
            if opts.get(5) != before[:8]:
                raise Bad(f"packet at byte {at} does not follow from what is before it")
            instant = high << 32 | low
            if instant < last:
                raise Bad(f"packet at byte {at} goes back in time")
            last = instant
            direction = "event" if interface == 1 else {1: "received", 2: "sent"}[struct.unpack("<I", opts[2])[0] & 3]
            direction += " (outgoing)" if interface == 2 else ""
            if parts is not None:
                parts[1] += content
                parts[0] -= 1
                if parts[0]:
                    at += length
                    continue
                content, parts = parts[1], None
            elif direction == "event" and content.startswith(b'{"event":"join"'):
                parts = [json.loads(content)["parts"], b""]
                at += length
                continue
            yield instant, direction, content, at + length, index, digest.hexdigest()
            index += 1
        else:
            raise Bad(f"block at byte {at} is of a kind that has no place here ({kind})")
        at += length
    if parts is not None:
        raise Bad("cut off within a record of several parts")


def main():
    args = argparse.ArgumentParser(description="Check an input log (trace.pcapng) and print its records.")
    args.add_argument("trace")
    args.add_argument("--quiet", action="store_true", help="print only the end of the log")
    args = args.parse_args()
    with open(args.trace, "rb") as f:
        data = f.read()
    end = None
    try:
        for us, direction, content, offset, index, digest in records(data):
            end = {"offset": offset, "index": index, "hash": digest}
            if args.quiet:
                continue
            if direction == "event":
                head, _, rest = content.partition(b"\n")
                what = json.loads(head) | ({"content": rest.hex()} if rest else {})
            else:
                what = {"event": direction, "bytes": content.hex()}
            print(json.dumps({"us": us, **what, **end}))
    except Bad as e:
        sys.exit(f"{args.trace}: {e}")
    if args.quiet:
        print(json.dumps(end))


if __name__ == "__main__":
    main()
