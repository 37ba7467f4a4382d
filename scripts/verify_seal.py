#!/usr/bin/env python3
"""Verifies seals and time stamps of a job with Python, its standard library and the packages `cryptography` and `rfc3161-client`; nothing of
plumeline's is used.

Usage: verify_seal.py JOB [--key PUBLIC-KEY-FILE] [--anchor CERTIFICATE-FILE]
       verify_seal.py --spoil JOB [N]      alters, in a copy, three bytes of each file in turn, and N anywhere: every one must be found
       verify_seal.py --key-file PRIVATE-KEY-FILE PASSPHRASE PUBLIC-KEY-FILE     both files are read and belong together
       verify_seal.py --vectors            holds the committed test vectors against this package and hashlib

See docs/record.md for the form of a seal.
"""
import hashlib
import json
import pathlib
import random
import re
import shutil
import sys
import tempfile

import rfc3161_client
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key, load_pem_public_key

TOP = pathlib.Path(__file__).parent.parent
GROWING = ("journal.jsonl", "trace.pcapng")
WRITTEN_ANEW = ("junit.xml", "page.html", "report.html", "result.json", "settings-as-found.json", "settings-as-left.json")


class Broken(Exception):
    pass


def holds(true, why):
    if not true:
        raise Broken(why)


def read_seal(path, kind="seal"):
    """The body of a seal, of a job or of its design, whose form and signature hold."""
    data = path.read_bytes()
    head = b'{"%s":' % kind.encode()
    signed, tail = data[len(head) : -145], data[-145:]
    holds(data.startswith(head) and tail[:14] == b',"signature":"' and tail[-3:] == b'"}\n', f"{path.name}: its form")
    try:
        body, signature = json.loads(signed), bytes.fromhex(tail[14:-3].decode())
        canonical = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
        # For texts and whole numbers this is what RFC 8785 asks for.
        holds(canonical == signed and signature.hex().encode() == tail[14:-3], f"{path.name}: its form")
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(body["key"]))
        key.verify(signature, b"plumeline %s 1\n" % kind.encode() + signed)
    except (ValueError, InvalidSignature) as error:
        raise Broken(f"{path.name}: {type(error).__name__}") from error
    known = {"design": (1,), "seal": (1, 2)}[kind]
    holds(body["format"] in known, f"{path.name}: of format {body['format']}")
    holds(body["format"] > 1 or kind == "design" or not {"warnings", "statement"} & set(body), f"{path.name}: its form")
    return body


def design(folder):
    """Who signed the design beforehand, and whether the files are still those; nothing where nobody did."""
    path = folder / "design-seal.json"
    if not path.exists():
        return None
    body = read_seal(path, "design")
    signed = {f["name"]: (f["length"], f["sha256"]) for f in body["files"]}
    names = ("pipework.toml", "plan.toml", "unit-outgoing.toml", "unit-replacement.toml", "settings-new.json", "settings-old.json",
             "decisions.toml", "carry-account.json")
    here = {n: (folder / n).read_bytes() for n in names if (folder / n).exists()}
    same = signed == {n: (len(data), hashlib.sha256(data).hexdigest()) for n, data in here.items()}
    return f"design signed by {body['signer']}: " + ("the job was judged by it" if same else "NOT what the job was judged by")


def journal_end(data, lines):
    """Hash of this many lines' last one, and of the first that begins a stage."""
    before, job = "0" * 64, None
    for number, line in enumerate(data.split(b"\n")[:lines]):
        stated, entry = line[-66:-2].decode(errors="replace"), json.loads(line)
        sound = hashlib.sha256(line[:-75]).hexdigest() == stated and entry["prev"] == before and entry["seq"] == number
        holds(sound, f"journal.jsonl: line {number + 1}")
        before = stated
        if job is None and entry["entry"]["entry"] == "stage-began":
            job = stated
    return before, job


def stamps(folder, anchor=None):
    """What each time stamp is over, and when it was there; with an anchor, whether that vouches for it."""
    over = {hashlib.sha256(p.read_bytes()).hexdigest(): p.name for p in folder.glob("seal-*.json")}
    for number, line in enumerate((folder / "journal.jsonl").read_bytes().splitlines()):
        over[line[-66:-2].decode(errors="replace")] = f"journal.jsonl, line {number + 1}"
    found = []
    for path in sorted(folder.glob("stamp-*.tsr")):
        try:
            answer = rfc3161_client.decode_timestamp_response(path.read_bytes())
            stated = answer.tst_info
            imprint = stated.message_imprint.message
        except ValueError as error:
            raise Broken(f"{path.name}: {error}") from error
        holds(imprint.hex() in over, f"{path.name}: over nothing of this record")
        if anchor is not None:
            builder = rfc3161_client.VerifierBuilder()
            for certificate in x509.load_pem_x509_certificates(pathlib.Path(anchor).read_bytes()):
                builder = builder.add_root_certificate(certificate)
            try:
                builder.build().verify(answer, imprint)
            except rfc3161_client.VerificationError as error:
                raise Broken(f"{path.name}: {error}") from error
        found.append(f"{path.name}: {over[imprint.hex()]} was there on {stated.gen_time.isoformat()}" + ("" if anchor else " (no anchor was named)"))
    holds(found or anchor is None, "stamp-1.tsr: there is no time stamp")
    return found


def verify(folder, key=None):
    seals, number, previous = [], 1, None
    while (path := folder / f"seal-{number}.json").exists():
        seal = read_seal(path)
        holds(seal["number"] == number and seal.get("previous") == previous, f"seal-{max(number - 1, 1)}.json: the chain")
        previous = hashlib.sha256(path.read_bytes()).hexdigest()
        seals.append(seal)
        number += 1
    holds(seals, "seal-1.json: there is no seal")
    newest = seals[-1]
    present = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    present -= {"lock"} | {f"seal-{n}.json" for n in range(1, number)}
    named = {f["name"] for f in newest["files"]}
    # A stamp over a seal comes after it.
    present -= {name for name in present - named if re.fullmatch(r"stamp-[1-9][0-9]*\.tsr", name)}
    for name in sorted(present ^ named):
        raise Broken(f"{name}: added or missing")
    for seal in seals:
        for file in seal["files"]:
            name = file["name"]
            if seal is not newest and name in WRITTEN_ANEW and newest["journal"]["lines"] > seal["journal"]["lines"]:
                continue
            data = (folder / name).read_bytes()
            if name in GROWING and seal is not newest:
                data = data[: file["length"]]
            sound = len(data) == file["length"] and hashlib.sha256(data).hexdigest() == file["sha256"]
            holds(sound, f"{name}: not what seal {seal['number']} covers")
        head, job = journal_end((folder / "journal.jsonl").read_bytes(), seal["journal"]["lines"])
        holds((head, job) == (seal["journal"]["head"], seal["job"]), f"seal-{seal['number']}.json: of another journal")
    if key is not None:
        expected = load_pem_public_key(pathlib.Path(key).read_bytes()).public_bytes_raw().hex()
        same = [s["key"] for s in seals if (s["files"], s["journal"]) == (newest["files"], newest["journal"])]
        holds(expected in same, f"seal-{newest['number']}.json: of another key")
    return newest, seals


def spoil(folder, anywhere):
    verify(folder)
    count, chance = 0, random.Random(16)
    with tempfile.TemporaryDirectory() as work:
        copy = pathlib.Path(work) / "job"
        shutil.copytree(folder, copy)
        total = sum(p.stat().st_size for p in copy.rglob("*") if p.is_file())
        for path in sorted(p for p in copy.rglob("*") if p.is_file() and p.name != "lock"):
            good = path.read_bytes()
            share = -(-anywhere * len(good) // total)
            at_random = [(chance.randrange(len(good)), chance.randrange(1, 256)) for _ in range(share)]
            for at, other in [(0, 1), (len(good) // 2, 1), (len(good) - 1, 1), *at_random]:
                path.write_bytes(good[:at] + bytes([good[at] ^ other]) + good[at + 1 :])
                try:
                    verify(copy)
                except (Broken, ValueError, KeyError) as found:
                    count += 1
                    if isinstance(found, Broken) and not str(found).startswith(path.relative_to(copy).as_posix()):
                        sys.exit(f"{path.name} was altered, but this was blamed: {found}")
                else:
                    sys.exit(f"{path.name}: byte {at} was altered, and nothing noticed it")
            path.write_bytes(good)
    print(f"{count} altered bytes were found")


def key_file(private, passphrase, public):
    secret = load_pem_private_key(pathlib.Path(private).read_bytes(), passphrase.encode())
    print(pathlib.Path(public).read_text(encoding="utf-8").splitlines()[1])
    if secret.public_key() != load_pem_public_key(pathlib.Path(public).read_bytes()):
        sys.exit("the two keys do not belong together")
    print("private and public key belong together")


def vectors():
    data = TOP / "harness/job/tests/data"
    rows = {
        name: [[bytes.fromhex(v.strip("-")) for v in line.split()] for line in (data / name).open() if line[0] != "#"]
        for name in ("ed25519-rfc8032.txt", "sha256-nist.txt")
    }
    for seed, public, message, signature in rows["ed25519-rfc8032.txt"]:
        key = Ed25519PrivateKey.from_private_bytes(seed)
        assert key.public_key().public_bytes_raw() == public and key.sign(message) == signature
    for message, digest in rows["sha256-nist.txt"]:
        assert hashlib.sha256(message).digest() == digest
    print(", ".join(f"{name}: {len(all_)} hold" for name, all_ in rows.items()))


def main(arguments):
    match arguments:
        case ["--vectors"]:
            vectors()
        case ["--spoil", job] | ["--spoil", job, _]:
            spoil(pathlib.Path(job), int(*arguments[2:]) if arguments[2:] else 0)
        case ["--key-file", private, passphrase, public]:
            key_file(private, passphrase, public)
        case [job, *more] if len(more) % 2 == 0 and set(more[::2]) <= {"--key", "--anchor"}:
            named = dict(zip(more[::2], more[1::2]))
            try:
                _, seals = verify(pathlib.Path(job), named.get("--key"))
                signed_before = design(pathlib.Path(job))
                stamped = stamps(pathlib.Path(job), named.get("--anchor"))
            except Broken as found:
                sys.exit(f"does not hold: {found}")
            for seal in seals:
                how, verdict = seal["closed"]["as"], seal["verdict"]["is"]
                print(f"seal {seal['number']} holds: {how}, {verdict}, by {seal['signer']}, {len(seal['files'])} files")
                for words in [*seal.get("warnings", []), *([seal["statement"]] if "statement" in seal else [])]:
                    print(f"  {words}")
            for words in [*([signed_before] if signed_before else []), *stamped]:
                print(words)
        case _:
            sys.exit(__doc__)


main(sys.argv[1:])
