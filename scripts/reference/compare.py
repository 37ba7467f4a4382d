"""Compare two folders of reference data: `python3 scripts/reference/compare.py A B`; the exit status says whether they agree.

Same files, same structure, same words and whole numbers; floats within 1e-9 of the larger, or of a millionth of the largest of
their list (flows that have all but vanished).
"""
import json
import os
import sys

RELATIVE, FLOOR = 1e-9, 1e-6


def differ(a, b, where, scale=0.0):
    """The first place where two values differ, or None."""
    if isinstance(a, dict) and isinstance(b, dict):
        if a.keys() != b.keys():
            return f"{where}: other keys"
        parts = [(a[k], b[k], f"{where}.{k}") for k in a]
    elif isinstance(a, list) and isinstance(b, list):
        if len(a) != len(b):
            return f"{where}: other length"
        scale = max((abs(x) for x in a if isinstance(x, float)), default=0.0)
        parts = [(x, y, f"{where}[{i}]") for i, (x, y) in enumerate(zip(a, b))]
    elif isinstance(a, float) and isinstance(b, (int, float)) or isinstance(b, float) and isinstance(a, int):
        limit = RELATIVE * max(abs(a), abs(b), FLOOR * scale)
        return None if abs(a - b) <= limit else f"{where}: {a!r} is not {b!r}"
    else:
        return None if a == b else f"{where}: {a!r} is not {b!r}"
    return next((d for x, y, w in parts if (d := differ(x, y, w, scale))), None)


def main():
    one, two = sys.argv[1:3]
    names = sorted(n for n in os.listdir(one) if n.endswith(".json"))
    if not names or names != sorted(n for n in os.listdir(two) if n.endswith(".json")):
        sys.exit(f"not the same files: {names} in {one}, {sorted(os.listdir(two))} in {two}")
    bad = 0
    for name in names:
        with open(os.path.join(one, name)) as f, open(os.path.join(two, name)) as g:
            difference = differ(json.load(f), json.load(g), name)
        print(f"{name}: {difference or 'agrees'}")
        bad += difference is not None
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
