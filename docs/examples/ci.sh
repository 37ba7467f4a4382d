#!/bin/sh
# Acceptance runs in a build server, in plain shell. Usage: ci.sh [FOLDER]
#
# The build server reads FOLDER/junit.xml; FOLDER/result.json is for scripts, FOLDER/JOB/report.html for people. The exit
# code is 0 only if every job came to what batch.toml expects of it and every record is sound.
set -eu
plumeline=${PLUMELINE:-plumeline}
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
out=${1:-acceptance}

worst=0
"$plumeline" batch "$here/batch.toml" --out "$out" --at-once 2 --force || worst=$?
# What was recorded must hold together: journal, trace and files, and the replay gives the same bytes.
for job in "$out"/*/; do
    "$plumeline" check "$job" --quiet || worst=$?
done
exit "$worst"
