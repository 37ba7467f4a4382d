"""Reads sample reports with other people's readers.

JSON against the schema (jsonschema), JUnit XML (junitparser), pages with a strict HTML 5 parser (html5lib).
Make the samples first: cargo run -p plumeline-report --example sample -- DIR
Then, from the top of the repository: python3 scripts/check_report_formats.py DIR [BATCH...]

BATCH is the folder of a batch that was run (docs/batch.md): its result.json is held against the schema of batches, its
junit.xml against it, and each job's result.json against the schema of results.
"""

import copy
import json
import pathlib
import sys

import html5lib
import jsonschema
import junitparser

SCHEMA = pathlib.Path("docs/schemas/result.schema.json")
BATCH_SCHEMA = pathlib.Path("docs/schemas/batch-result.schema.json")


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


def check_batch(folder, batches, results):
    whole = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    batches.validate(whole)
    # The check must be able to fail.
    for spoil in ({"verdict": "fine"}, {"how": "perhaps"}, {"surplus": 1}):
        broken = copy.deepcopy(whole)
        broken["jobs"][0]["came_to"].update(spoil)
        assert not batches.is_valid(broken), spoil
    suites = {suite.name: suite for suite in junitparser.JUnitXml.fromfile(str(folder / "junit.xml"))}
    assert list(suites) == [job["name"] for job in whole["jobs"]]
    for job in whole["jobs"]:
        suite = suites[job["name"]]
        assert (suite.failures + suite.errors == 0) == job["as_expected"], job["name"]
        if job["came_to"]["how"] == "over":
            result = json.loads((folder / job["name"] / "result.json").read_text(encoding="utf-8"))
            results.validate(result)
            assert result["verdict"] == job["came_to"]["verdict"], job["name"]
    return len(suites)


def validator(path):
    schema = json.loads(path.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def main():
    folder = pathlib.Path(sys.argv[1])
    schema = validator(SCHEMA)
    results = check_json(folder, schema)
    cases, bad = check_junit(folder / "junit.xml")
    pages = check_pages(folder)
    assert results == pages > 0
    for batch in sys.argv[2:]:
        jobs = check_batch(pathlib.Path(batch), validator(BATCH_SCHEMA), schema)
        print(f"{batch}: {jobs} jobs of a batch agree with its result.json and junit.xml")
    print(f"{results} results valid, {cases} test cases read ({bad} not passed), {pages} pages parsed without an error")


if __name__ == "__main__":
    main()
