#!/usr/bin/env bash
# The oldest compiler that Cargo.toml names (`rust-version`): no dependency may ask for a newer one, and the code may call nothing of the
# standard library that came later (clippy's incompatible_msrv). An old compiler itself is not run here.
set -euo pipefail
cd "$(dirname "$0")/.."
cargo metadata --format-version 1 --locked | python3 -c '
import json, sys
packages = json.load(sys.stdin)["packages"]
number = lambda text: tuple(int(part) for part in (text.split(".") + ["0", "0"])[:3])
ours = {number(p["rust_version"]) for p in packages if p["source"] is None}
assert len(ours) == 1, f"members name different compilers: {ours}"
ours = ours.pop()
stated = [p for p in packages if p["source"] and p["rust_version"]]
assert stated, "no dependency states a compiler: the check sees nothing"
newer = ["{name} {version} asks for {rust_version}".format(**p) for p in stated if number(p["rust_version"]) > ours]
sys.exit("\n".join(newer) or None)
'
cargo clippy --quiet --workspace -- -D clippy::incompatible_msrv
echo "nothing asks for a newer compiler than Cargo.toml names"
