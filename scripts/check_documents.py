#!/usr/bin/env python3
"""Validates the JSON documents of job folders against docs/schemas with an independent validator (jsonschema).

Usage: check_documents.py JOB...

Also shows that the schemas can fail: each document is spoiled in several ways, and every one must be refused.
"""
import copy
import json
import pathlib
import sys

import jsonschema

SCHEMAS = pathlib.Path(__file__).parent.parent / "docs" / "schemas"


def validator(name):
    schema = json.loads((SCHEMAS / name).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def spoiled(document):
    """The document without each of its keys in turn, with a key too many, and with a wrong type."""
    for key in document:
        if key not in ("unit", "revision", "complete", "sha256"):
            yield {k: v for k, v in document.items() if k != key}
    yield {**document, "surplus": 1}
    for key in document:
        wrong = copy.deepcopy(document)
        wrong[key] = [[]]
        yield wrong


def main(jobs):
    settings, line = validator("settings.schema.json"), validator("journal-line.schema.json")
    good = bad = 0
    for job in map(pathlib.Path, jobs):
        documents = [(settings, json.loads(p.read_bytes())) for p in sorted(job.glob("settings-*.json"))]
        documents += [(line, json.loads(x)) for x in (job / "journal.jsonl").read_bytes().splitlines()]
        for schema, document in documents:
            schema.validate(document)
            good += 1
            for wrong in spoiled(document):
                if schema.is_valid(wrong):
                    sys.exit(f"{job}: the schema lets pass {json.dumps(wrong)[:300]}")
                bad += 1
    print(f"{good} documents are valid, {bad} spoiled ones are refused")
    if not good:
        sys.exit("nothing was checked")


main(sys.argv[1:])
