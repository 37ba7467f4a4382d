#!/usr/bin/env bash
# Fuzzes at length: scripts/fuzz_long.sh [seconds for each target (300)] [targets ...]
# With RUNS=n in the environment each target also ends after n executions. New inputs go into target/fuzz/corpus (merged into
# tests/fuzz/corpus by MERGE=1, which keeps only those that reach something new); whatever fails lands in target/fuzz/artifacts.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-300}
shift || true
bin=$(scripts/fuzz_build.sh)
all=(frames payloads settings pipework plan trace journal procedure device registers lines typed page)
targets=("${@:-${all[@]}}")
work="${CARGO_TARGET_DIR:-$PWD/target}/fuzz"
failed=0
for target in "${targets[@]}"; do
    mkdir -p "$work/corpus/$target" "$work/artifacts"
    options=(-max_total_time="$seconds" -timeout=20 -rss_limit_mb=1024 -artifact_prefix="$work/artifacts/$target-" -print_final_stats=1)
    [ -z "${RUNS:-}" ] || options+=(-runs="$RUNS")
    [ ! -f "tests/fuzz/dict/$target.dict" ] || options+=(-dict="tests/fuzz/dict/$target.dict")
    # Sequences reach far stages only with long inputs.
    case $target in procedure | device) options+=(-max_len=1000 -len_control=0) ;; esac
    binary="$bin/$target"
    log="$work/$target.log"
    # Each input that the lines of this run's log tell of counts, whatever the outcome.
    "$binary" "${options[@]}" "$work/corpus/$target" "tests/fuzz/corpus/$target" >"$log" 2>&1 || failed=1
    executed=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    reached=$(grep -oE 'cov: [0-9]+' "$log" | tail -n 1)
    echo "$target: ${executed:-?} executions, ${reached:-no coverage told} ($(grep -c 'SUMMARY' "$log" || true) findings)"
    if [ -n "${MERGE:-}" ]; then
        "$binary" -merge=1 -max_len=1000 "tests/fuzz/corpus/$target" "$work/corpus/$target" >"$log.merge" 2>&1
    fi
done
exit $failed
