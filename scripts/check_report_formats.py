"""Reads sample reports with other people's readers.

JSON against the schema (jsonschema), JUnit XML (junitparser), pages with a strict HTML 5 parser (html5lib).
Make the samples first: cargo run -p plumeline-report --example sample -- DIR
Then, from the top of the repository: python3 scripts/check_report_formats.py DIR
"""

import json
import pathlib
import sys

import html5lib
import jsonschema
import junitparser

SCHEMA = pathlib.Path("docs/schemas/result.schema.json")


def check_json(folder, validator):
    files = sorted(folder.glob("*.json"))
    for file in files:
        validator.validate(json.loads(file.read_text(encoding="utf-8")))
    # The check must be able to fail.
    broken = json.loads(files[0].read_text(encoding="utf-8"))
    broken["outcome"]["verdict"] = "fine"
    assert not validator.is_valid(broken)
    return len(files)


def check_junit(file):
    xml = junitparser.JUnitXml.fromfile(str(file))
    cases = [case for suite in xml for case in suite]
    bad = [c for c in cases if any(isinstance(r, (junitparser.Failure, junitparser.Error)) for r in c.result)]
    assert xml.tests == len(cases) and xml.failures + xml.errors == len(bad) > 0
    suites = {suite.name: suite for suite in xml}
    assert suites["clean"].failures + suites["clean"].errors == 0
    for name in ("failed", "undecided", "aborted"):
        assert suites[name].failures + suites[name].errors > 0, name
    return len(cases), len(bad)


def check_pages(folder):
    files = sorted(folder.glob("*.html"))
    for file in files:
        html5lib.HTMLParser(strict=True).parse(file.read_text(encoding="utf-8"))
    return len(files)


def main():
    folder = pathlib.Path(sys.argv[1])
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    results = check_json(folder, jsonschema.Draft202012Validator(schema))
    cases, bad = check_junit(folder / "junit.xml")
    pages = check_pages(folder)
    assert results == pages > 0
    print(f"{results} results valid, {cases} test cases read ({bad} not passed), {pages} pages parsed without an error")


if __name__ == "__main__":
    main()
