#!/usr/bin/env python3
"""Validates the documents that people and scripts write and read against docs/schemas with an independent validator
(jsonschema; TOML by Python's own reader).

Usage: check_documents.py JOB...

Checks the JSON documents of the job folders, and every TOML example, template and demo file of this tree. Also shows
that the schemas can fail: each document is spoiled in several ways, and every one must be refused. Says how
many of the keys that a schema knows the examples reach.
"""
import copy
import json
import pathlib
import re
import sys
import tomllib

import jsonschema

TOP = pathlib.Path(__file__).parent.parent
SCHEMAS = TOP / "docs" / "schemas"
FORMATS = ("pipework", "plan", "operator", "scenario", "batch")
# Keys whose values are words of the writer's own.
WORDS = ("name", "panel", "site", "technician", "model", "serial", "source", "text", "because", "files")


def validator(name):
    schema = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def spoiled_record(document):
    """The document without each of its keys in turn, with a key too many, and with a wrong type."""
    for key in document:
        if key not in ("unit", "revision", "complete", "sha256"):
            yield {k: v for k, v in document.items() if k != key}
    yield {**document, "surplus": 1}
    for key in document:
        wrong = copy.deepcopy(document)
        wrong[key] = [[]]
        yield wrong


def tables(value):
    """Every table in a document, outermost first, with the path that leads to it."""
    if isinstance(value, dict):
        yield value
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from tables(inner)


def spoiled_toml(document, required):
    """The document with a key too many in each table, each value of a wrong type or unit, each required key missing."""
    for i, table in enumerate(tables(document)):
        def changed(change):
            other = copy.deepcopy(document)
            change(list(tables(other))[i])
            return other

        yield changed(lambda t: t.update(surplus=[]))
        for key, value in table.items():
            yield changed(lambda t: t.update({key: {"surplus": []}}))
            if key not in WORDS and isinstance(value, str) and re.match(r"[-+]?[\d./ ]+[A-Za-z%]", value):
                yield changed(lambda t: t.update({key: "3 V"}))
                yield changed(lambda t: t.update({key: "3,5 " + value.split()[-1]}))
    for key in required:
        yield {k: v for k, v in document.items() if k != key}


def keys_of_schema(schema):
    """(definition, key) of every key that a schema knows."""
    for name, part in [("", schema), *schema.get("$defs", {}).items()]:
        for key in part.get("properties", ()):
            yield name, key


def keys_used(schema, part, name, value, found):
    """Notes which of the schema's keys a valid document uses."""
    while "$ref" in part:
        name = part["$ref"].rsplit("/", 1)[1]
        part = schema["$defs"][name]
    for other in part.get("anyOf", ()):
        if "$ref" in other and isinstance(value, dict) or "items" in other and isinstance(value, list):
            keys_used(schema, other, name, value, found)
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in part.get("properties", ()):
                found.add((name, key))
                keys_used(schema, part["properties"][key], name, inner, found)
    if isinstance(value, list) and isinstance(part.get("items"), dict):
        for inner in value:
            keys_used(schema, part["items"], name, inner, found)


def refuse(schema, documents, where):
    count = 0
    for wrong in documents:
        if schema.is_valid(wrong):
            sys.exit(f"{where}: the schema lets pass {json.dumps(wrong)[:2000]}")
        count += 1
    return count


def check_jobs(jobs):
    settings, line, seal = validator("settings"), validator("journal-line"), validator("seal")
    good = bad = 0
    for job in jobs:
        documents = [(settings, json.loads(p.read_bytes())) for p in sorted(job.glob("settings-*.json"))]
        documents += [(seal, json.loads(p.read_bytes())) for p in sorted(job.glob("seal-*.json"))]
        documents += [(line, json.loads(x)) for x in (job / "journal.jsonl").read_bytes().splitlines()]
        for schema, document in documents:
            schema.validate(document)
            good += 1
            bad += refuse(schema, spoiled_record(document), job)
    return good, bad


def check_toml(jobs):
    good = bad = 0
    for name in FORMATS:
        schema = validator(name)
        paths = sorted(
            p
            for folder in ("docs/examples", "harness/cli/demo", "harness/job/src/templates", "demo-traces")
            for p in (TOP / folder).rglob(f"{name}*.toml")
        )
        paths += [job / f"{name}.toml" for job in jobs if (job / f"{name}.toml").exists()]
        if not paths:
            sys.exit(f"there is no example of {name}.toml")
        found = set()
        for path in paths:
            document = tomllib.loads(path.read_text(encoding="utf-8"))
            try:
                schema.validate(document)
            except jsonschema.ValidationError as error:
                sys.exit(f"{path}: {error.json_path}: {error.message[:300]}")
            good += 1
            bad += refuse(schema, spoiled_toml(document, schema.schema["required"]), path)
            keys_used(schema.schema, schema.schema, "", document, found)
        known = set(keys_of_schema(schema.schema))
        print(f"{name}.toml: the examples use {len(known & found)} of the {len(known)} keys that its schema knows")
    return good, bad


def main(jobs):
    for what, (good, bad) in [("records", check_jobs(jobs)), ("TOML documents", check_toml(jobs))]:
        print(f"{good} {what} are valid, {bad} spoiled ones are refused")
        if jobs and not good:
            sys.exit("nothing was checked")


main([pathlib.Path(job) for job in sys.argv[1:]])
