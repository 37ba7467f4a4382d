#!/bin/sh
# Make the reference data anew and compare with the committed ones; fails on any difference. Run from the top of the
# repository, with the packages of scripts/requirements.txt.
set -eu
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
python3 scripts/reference/make.py "$fresh"
python3 scripts/reference/compare.py harness/airflow/tests/data "$fresh"
python3 scripts/reference/orifice.py --check
