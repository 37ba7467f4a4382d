"""Compares two folders of reference data number by number: same shape, numbers to a relative 1e-7 or absolute 1e-10."""

import json
import math
import pathlib
import sys


def same(a, b, where):
    if isinstance(a, dict):
        assert a.keys() == b.keys(), where
        for k in a:
            same(a[k], b[k], f"{where}.{k}")
    elif isinstance(a, list):
        assert len(a) == len(b), where
        for i, (p, q) in enumerate(zip(a, b)):
            same(p, q, f"{where}[{i}]")
    elif isinstance(a, float) or isinstance(b, float):
        assert math.isclose(a, b, rel_tol=1e-7, abs_tol=1e-10), f"{where}: {a} committed, {b} made anew"
    else:
        assert a == b, f"{where}: {a} committed, {b} made anew"


committed, fresh = map(pathlib.Path, sys.argv[1:])
names = sorted(p.name for p in committed.glob("*.json"))
assert names and names == sorted(p.name for p in fresh.glob("*.json")), "the folders hold different files"
for name in names:
    same(json.loads((committed / name).read_text()), json.loads((fresh / name).read_text()), name)
print(f"{len(names)} files of reference data agree")
