#!/bin/sh
# Regenerates tests/reference/trials/size. Needs R with jsonlite, Python with statsmodels and scipy
# (PYTHON names the interpreter).
set -eu
here=$(dirname "$0")
out="$here/../../../tests/reference/trials/size"
mkdir -p "$out"
{
  Rscript "$here/power.R" "$out"
  "${PYTHON:-python3}" "$here/power.py" "$out"
} > "$out/run-output.txt" 2>&1
