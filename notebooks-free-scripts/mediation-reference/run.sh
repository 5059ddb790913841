#!/bin/sh
# Regenerates tests/reference/mediation. Needs Python with statsmodels; PYTHON names it.
set -eu
here=$(dirname "$0")
out="$here/../../tests/reference/mediation"
mkdir -p "$out"
"${PYTHON:-python3}" "$here/mediation.py" "$out" > "$out/run-output.txt" 2>&1
