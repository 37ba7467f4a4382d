#!/usr/bin/env bash
# Builds every pure crate, and everything below it, into a program that has no std.
set -euo pipefail
cd "$(dirname "$0")/.."
CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}/no-std" cargo build --quiet --manifest-path scripts/no-std/Cargo.toml
echo "the pure crates build without std"
