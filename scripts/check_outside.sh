#!/usr/bin/env bash
# Everything that is held against something outside the project. Needs Python with scripts/requirements.txt and tshark.
set -euo pipefail
cd "$(dirname "$0")/.."
target="${CARGO_TARGET_DIR:-$PWD/target}"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
say() { printf '\n-- %s\n' "$*"; }

say "the wire: golden frames of an independent encoder, payloads against the CDDL"
python3 scripts/wire/make_golden.py --check
cargo run -q -p plumewire --example dump >"$work/payloads"
python3 scripts/wire/check_cddl.py "$work/payloads"

cargo build -q -p plumeline
bin="$target/debug/plumeline"

say "the wire: an independent client talks to the simulated unit"
python3 scripts/wire/try_simulator.py "$bin"

say "the airflow engine: reference data made anew"
scripts/reference/check.sh
python3 scripts/reference/form_of_law.py "$bin" 200 91

say "measurement: reference data made anew"
scripts/reference_measure/check.sh

say "which closings tell most of each hole, and whether the stated intervals cover"
python3 scripts/closings/check.py

say "the record: a job's files read by others' programs"
"$bin" demo --small --quiet --out "$work/sound" >/dev/null
"$bin" demo --small --quiet --out "$work/blocked" --defect hole-blocked >/dev/null || [ $? -eq 1 ]
for job in "$work/sound" "$work/blocked" demo-traces/*/; do
    python3 scripts/check_trace.py "${job%/}/trace.pcapng" >/dev/null
    python3 scripts/verify_journal.py "${job%/}/journal.jsonl" >/dev/null
done
python3 scripts/check_documents.py "$work/sound" "$work/blocked"

say "the record: seals and keys read by others' programs"
python3 scripts/verify_seal.py --vectors
python3 scripts/verify_seal.py "$work/blocked"
echo "correct horse" >"$work/passphrase"
"$bin" key new --name "A. Technician" --out "$work/key" --passphrase-file "$work/passphrase" >/dev/null
python3 scripts/verify_seal.py --key-file "$work/key" "correct horse" "$work/key.pub"
rm "$work/sound/seal-1.json"
"$bin" close "$work/sound" --key "$work/key" --passphrase-file "$work/passphrase" >/dev/null
python3 scripts/verify_seal.py "$work/sound" --key "$work/key.pub"
"$bin" stamp "$work/sound" --request "$work/q.tsq" >/dev/null
scripts/stamp_service.sh "$work/service" "$work/q.tsq" "$work/a.tsr"
"$bin" stamp "$work/sound" --answer "$work/a.tsr" --anchor "$work/service/root.pem" >/dev/null
python3 scripts/verify_seal.py "$work/sound" --key "$work/key.pub" --anchor "$work/service/root.pem"
"$bin" close "$work/sound" --key "$work/key" --passphrase-file "$work/passphrase" --says "with its stamp" >/dev/null
python3 scripts/verify_seal.py --spoil "$work/sound" 500
! python3 scripts/verify_seal.py "$work/blocked" --key "$work/key.pub" 2>/dev/null
mkdir "$work/reports"
cargo run -q -p plumeline-report --example sample -- "$work/reports" >/dev/null
PLUMELINE="$bin" docs/examples/ci.sh "$work/batch"
printf '%s\n' 'format = 1' '[[job]]' 'name = "hopeful"' "files = \"$PWD/harness/cli/demo/small\"" \
    'defects = ["hole-blocked"]' '[[job]]' 'name = "lost"' "files = \"$work/broken\"" >"$work/hopeful.toml"
mkdir "$work/broken" && echo 'format = 1' >"$work/broken/plan.toml" && echo 'format = 1' >"$work/broken/pipework.toml"
"$bin" batch "$work/hopeful.toml" --out "$work/missed" || [ $? -eq 1 ]
python3 scripts/check_report_formats.py "$work/reports" "$work/batch" "$work/missed"

say "the traces: opened by packet tools"
cargo test -q --workspace --test viewer -- --ignored
for trace in demo-traces/*/trace.pcapng "$work/sound/trace.pcapng"; do
    capinfos -M "$trace" >"$work/capinfos"
    packets=$(tshark -r "$trace" -T fields -e frame.number 2>"$work/tshark" | wc -l)
    [ "$packets" -gt 100 ] && ! grep -qi malformed "$work/tshark"
    echo "$(basename "$(dirname "$trace")"): $packets packets"
done
