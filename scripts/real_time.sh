#!/usr/bin/env bash
# Whole jobs in real time, over pseudo-terminals and TCP: they take minutes and little processor, so several run at once.
# A machine that others load can miss a deadline that a job must keep; what failed is therefore run once more, one at a time,
# and must pass then. The longest are every slip in one job (`field::slips`, a quarter of an hour) and the program ended at every
# stage in every way (`field::ended`, six minutes): they go on beside the others. What only computes is left to `.ci/run`.
set -euo pipefail
cd "$(dirname "$0")/.."
log=$(mktemp)
trap 'rm -f "$log"' EXIT
run() { cargo test --workspace --test whole -- --ignored "$@" 2>&1 | tee "$log"; }
again() {
    mapfile -t failed < <(sed -n 's/^test \(.*\) \.\.\. FAILED.*$/\1/p' "$log" | sort -u)
    [ ${#failed[@]} -gt 0 ] || return
    printf '\nonce more, one at a time: %s\n' "${failed[*]}"
    run --exact --test-threads 1 "${failed[@]}"
}
run --skip field::cable:: --skip resume::two_hundred --skip no_item_of_the_evidence --skip a_short_job_goes_on --test-threads 5 || again
