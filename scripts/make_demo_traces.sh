#!/usr/bin/env bash
# Records demo-traces/ anew: a sound job and five defects, on the small invented site. Needed only when the log's format,
# the procedure or the simulator changes on purpose; the change belongs into the same commit.
set -euo pipefail
cd "$(dirname "$0")/.."
bin="${PLUMELINE_BIN:-}"          # one that is built already, or a release build
if [ -z "$bin" ]; then
    cargo build --release --quiet -p plumeline
    bin="${CARGO_TARGET_DIR:-target}/release/plumeline"
fi
record() { # name, verdict, defect (may be empty)
    local dir="demo-traces/$1" expected="$2" defect="$3" args=()
    [ -n "$defect" ] && args=(--defect "$defect")
    rm -rf "$dir"
    "$bin" demo --small --seed 11 --quiet --out "$dir" "${args[@]}" >/dev/null || true
    rm -f "$dir"/seal-*.json "$dir/lock" "$dir/report.html" "$dir/junit.xml" "$dir/result.json" "$dir/page.html"
    echo "$expected" >"$dir/expected-verdict.txt"
    cat >"$dir/provenance.md" <<EOM
# $1

Recorded by \`scripts/make_demo_traces.sh\` with the bundled simulator: \`plumeline demo --small --seed 11${defect:+ --defect $defect}\`.
Site, units and people are invented. Expected verdict: $expected.
EOM
    "$bin" replay "$dir" --expect "$expected"
}
record clean pass ""
record hole-blocked fail "hole-blocked:pipe=1,hole=3"
record end-cap-missing fail "end-cap-missing"
record pipe-off fail "pipe-off"
record filter-clogged undecided "filter-clogged:severity=30"
record setting-lost fail "setting-lost"
