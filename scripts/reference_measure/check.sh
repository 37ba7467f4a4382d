#!/bin/sh
# Make the measurement crate's reference data anew and compare with the committed ones; fails on any difference. Run from
# the top of the repository, with the packages of scripts/requirements.txt.
set -eu
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
python3 scripts/reference_measure/make.py "$fresh"
python3 scripts/reference_measure/compare.py harness/measure/tests/data "$fresh"
