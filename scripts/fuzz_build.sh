#!/usr/bin/env bash
# Builds the fuzz targets with libFuzzer's counters and traced comparisons, as `cargo fuzz build --sanitizer none` does, by the
# stable compiler alone. Prints the folder they are in.
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}/fuzz"
host=$(rustc -vV | sed -n 's/^host: //p')
RUSTFLAGS="--cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4"
for what in inline-8bit-counters pc-table trace-compares; do
    RUSTFLAGS+=" -Cllvm-args=-sanitizer-coverage-$what"
done
export RUSTFLAGS
cargo build --quiet --locked --release --target "$host" --manifest-path tests/fuzz/Cargo.toml
echo "$CARGO_TARGET_DIR/$host/release"
