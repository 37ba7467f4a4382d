"""Reference data for the measurement crate: made by general-purpose libraries and exact arithmetic, never by the crate.

Run from the top of the repository: `python3 scripts/reference_measure/make.py [FOLDER]`; without a folder the
committed data in harness/measure/tests/data are replaced. Versions are pinned in scripts/requirements.txt.
"""

import json
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent))

import decisions
import differences
import distributions
import nist
import onset
import parts
import series

DATA = pathlib.Path("harness/measure/tests/data")


def main():
    folder = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else DATA
    sets = json.loads((DATA / "nist.json").read_text())
    nist.confirm(sets)
    made = {
        "nist.json": sets,
        "distributions.json": distributions.make(),
        "series.json": series.make(),
        "onset.json": onset.make(),
        "decisions.json": decisions.make(),
        "parts.json": parts.make(),
        "differences.json": differences.make(),
    }
    for name, content in made.items():
        (folder / name).write_text(json.dumps(content, separators=(",", ":")) + "\n")


main()
