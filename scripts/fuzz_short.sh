#!/usr/bin/env bash
# Every fuzz target over the committed inputs, then a fixed number of changes of them by a fixed seed: the same run each time.
set -euo pipefail
cd "$(dirname "$0")/.."
bin=$(scripts/fuzz_build.sh)
failures="${CARGO_TARGET_DIR:-$PWD/target}/fuzz/artifacts"
mkdir -p "$failures"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
failed=0
while read -r target runs; do
    # What is new goes into a folder of its own, and what fails stays.
    mkdir "$work/$target"
    options=(-runs="$runs" -seed=1 -timeout=20 -rss_limit_mb=1024 -artifact_prefix="$failures/$target-" -print_final_stats=1)
    case $target in procedure | device) options+=(-max_len=1000 -len_control=0) ;; esac
    if "$bin/$target" "${options[@]}" "$work/$target" "tests/fuzz/corpus/$target" >"$work/log" 2>&1; then
        echo "$target: $(sed -n 's/^stat::number_of_executed_units: *//p' "$work/log") executions"
    else
        failed=1
        tail -n 40 "$work/log"
        echo "$target: failed; the input is $failures/$target-*"
    fi
done <<END
frames 20000
payloads 500000
settings 50000
pipework 20000
plan 20000
trace 10000
journal 10000
procedure 1000
device 3000
registers 20000
lines 20000
typed 20000
page 200000
END
exit $failed
