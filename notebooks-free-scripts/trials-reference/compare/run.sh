#!/bin/sh
# Regenerates tests/reference/trials/compare. Needs R with emmeans, multcomp, MASS, jsonlite.
set -eu
here=$(dirname "$0")
out="$here/../../../tests/reference/trials/compare"
mkdir -p "$out"
Rscript "$here/compare.R" "$out" > "$out/run-output.txt" 2>&1
