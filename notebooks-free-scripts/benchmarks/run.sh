#!/bin/bash
# Runs the benchmarks and prints everything that results/ keeps; ratios hold within one run only.
#   run.sh SCRATCH_FOLDER
# BIN: folder of the release examples of mixed (panel, crossed, growth); optional:
# GROUPBY, STREAM: the release examples of ingest-seasons and model;
# PYTHON: an environment with polars and statsmodels; OPENBLAS: folder with OpenBLAS' libblas.so.3.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
scratch=$1
mkdir -p "$scratch"
theta() { grep '^theta' | tail -1 | tr -d 'a-z[],'; }

echo "== machine"; date +%Y-%m-%d; nproc; uptime | sed 's/.*load/load/'
echo "== panel: 1,000,000 rows, alternating with a polars group-by that sums its 13 columns"
for i in 1 2 3; do
  [ -z "${GROUPBY:-}" ] || "$GROUPBY" | tail -3
  "$BIN/panel" 100000 | grep '^1000000 rows' | tail -3
done
echo "== panel: 200,000-row cut, mixed"
"$BIN/panel" 20000 "$scratch/panel" | tee "$scratch/panel.txt" | grep -v estimates
echo "== panel: 200,000-row cut, lmer"
Rscript "$here/lmer_panel.R" "$scratch/panel" 200000 $(theta < "$scratch/panel.txt") 2>&1
echo "== crossed: 75,000 rows, mixed"
"$BIN/crossed" 75000 "$scratch/crossed" | tee "$scratch/crossed.txt"
echo "== crossed: lmer, reference BLAS"
Rscript "$here/lmer_crossed.R" "$scratch/crossed" 75000 $(theta < "$scratch/crossed.txt")
if [ -n "${OPENBLAS:-}" ]; then
  echo "== crossed: lmer, OpenBLAS"
  sh "$here/lmer_openblas.sh" "$OPENBLAS" "$here/lmer_crossed.R" "$scratch/crossed" 75000
  echo "== panel: lmer, OpenBLAS"
  sh "$here/lmer_openblas.sh" "$OPENBLAS" "$here/lmer_panel.R" "$scratch/panel" 200000 2>&1
fi
echo "== random tree alone, ML, 200,000 rows: mixed, then statsmodels"
"$BIN/panel" 20000 "$scratch/panel" tree | grep -E '^(200000|theta)'
[ -z "${PYTHON:-}" ] || "$PYTHON" "$here/statsmodels_tree.py" "$scratch/panel" 200000
if [ -n "${STREAM:-}" ]; then
  echo "== stream: 20,000,000 rows from Parquet"
  [ -f "$scratch/stream.parquet" ] || "$STREAM" write 20000000 "$scratch/stream.parquet"
  for i in 1 2 3; do "$STREAM" fit 20000000 "$scratch/stream.parquet"; done
  [ -z "${PYTHON:-}" ] || "$PYTHON" "$here/polars_scan.py" "$scratch/stream.parquet"
fi
echo "== growth"
"$BIN/growth" 2e7 | tee "$scratch/growth.csv"
