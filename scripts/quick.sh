#!/usr/bin/env bash
# The quick loop of a contributor: format, compile, lint and test only the crates that differ from the main branch.
#   scripts/quick.sh          the crates that were changed
#   scripts/quick.sh CRATE…   these crates
set -euo pipefail
cd "$(dirname "$0")/.."
crates=("$@")
if [ ${#crates[@]} -eq 0 ]; then
    base=$(git merge-base HEAD origin/main 2>/dev/null || git merge-base HEAD main)
    mapfile -t folders < <({ git diff --name-only "$base"; git ls-files --others --exclude-standard; } |
        grep -oE '^(harness|protocol-sim)/[^/]+' | sort -u)
    for folder in "${folders[@]}"; do
        [ -f "$folder/Cargo.toml" ] && crates+=("$(sed -n 's/^name = "\(.*\)"/\1/p' "$folder/Cargo.toml" | head -1)")
    done
fi
cargo fmt --all
if [ ${#crates[@]} -eq 0 ]; then
    echo "no crate differs from the main branch"
    exit 0
fi
echo "crates: ${crates[*]}"
packages=("${crates[@]/#/--package=}")
cargo clippy --quiet "${packages[@]}" --all-targets -- -D warnings
cargo test --quiet "${packages[@]}"
