#!/bin/sh
# Regenerates tests/reference/trials/distributions. Needs R with jsonlite and mvtnorm, Python with
# scipy (PYTHON names the interpreter). Takes about five minutes.
set -eu
here=$(dirname "$0")
out="$here/../../../tests/reference/trials/distributions"
mkdir -p "$out"
{
  Rscript "$here/noncentral_f.R" "$out"
  "${PYTHON:-python3}" "$here/noncentral_f.py" "$out"
  Rscript "$here/ranges.R" "$out"
  "${PYTHON:-python3}" "$here/ranges.py" "$out"
} > "$out/run-output.txt" 2>&1
