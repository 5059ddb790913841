#!/bin/sh
# Regenerates tests/reference/generalised. Needs R with glmmTMB, lme4, MASS.
set -eu
here=$(dirname "$0")
out="$here/../../tests/reference/generalised"
mkdir -p "$out"
Rscript "$here/generalised.R" "$out" > "$out/run-output.txt" 2>&1
