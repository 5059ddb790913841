#!/bin/sh
# Regenerates tests/reference/trials/checks. Needs R with car, spdep, lme4, pbkrtest, MASS, jsonlite.
set -eu
here=$(dirname "$0")
out="$here/../../../tests/reference/trials/checks"
mkdir -p "$out"
Rscript "$here/checks.R" "$out" > "$out/run-output.txt" 2>&1
