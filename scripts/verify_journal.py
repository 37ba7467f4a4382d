#!/usr/bin/env python3
"""Verifies the hash chain of a journal.jsonl with nothing but Python's standard library.

Usage: verify_journal.py FILE

Each line ends in ,"hash":"<64 hex digits>"} and a line feed; the hash is SHA-256 over the bytes before that. The
"prev" of a line is the hash of the line before it, 64 zeros in the first.
"""
import hashlib
import json
import sys

prev, at = "0" * 64, 0
with open(sys.argv[1], "rb") as journal:
    for number, line in enumerate(journal):
        fields = json.loads(line)
        body, stated = line[:-76], fields["hash"]
        sound = (
            line.endswith(f',"hash":"{stated}"}}\n'.encode())
            and hashlib.sha256(body).hexdigest() == stated
            and fields["prev"] == prev
            and fields["seq"] == number
            and fields["at_us"] >= at
        )
        if not sound:
            print(f"line {number + 1} does not hold")
            sys.exit(1)
        prev, at = stated, fields["at_us"]
print(f"the chain holds; its head is {prev}")
