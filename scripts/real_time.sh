#!/usr/bin/env bash
# Whole jobs in real time, over pseudo-terminals and TCP: they take minutes and little processor, so five run at once.
# A machine that others load can miss a deadline that a job must keep; what failed is therefore run once more, one at a time,
# and must pass then. The longest, every slip in one job, takes a quarter of an hour: it starts first, and the others go on beside it.
# What only computes is left to `.ci/run`.
set -euo pipefail
cd "$(dirname "$0")/.."
longest=field::slips::every_slip_in_one_job_at_a_terminal_ends_in_a_pass_with_what_was_put_right
logs=$(mktemp -d)
trap 'rm -rf "$logs"' EXIT
run() { cargo test --workspace --test whole -- --ignored "$@" 2>&1; }
cargo test --workspace --test whole -- --ignored --list | grep "^$longest: test$" ||
    { printf 'no test is called %s any more: name the longest in %s\n' "$longest" "$0"; exit 1; }
run --exact "$longest" >"$logs/longest" &
run --skip "$longest" --skip field::cable:: --skip resume::two_hundred --skip no_item_of_the_evidence --skip a_short_job_goes_on \
    --test-threads 4 | tee "$logs/others" || late=1
wait $! || late=1
cat "$logs/longest"
grep -q "^test $longest \.\.\. ok" "$logs/longest" || printf 'test %s ... FAILED\n' "$longest" >>"$logs/longest"
[ -n "${late-}" ] || exit 0
mapfile -t failed < <(sed -n 's/^test \(.*\) \.\.\. FAILED.*$/\1/p' "$logs"/* | sort -u)
[ ${#failed[@]} -gt 0 ]
printf '\nonce more, one at a time: %s\n' "${failed[*]}"
run --exact --test-threads 1 "${failed[@]}"
