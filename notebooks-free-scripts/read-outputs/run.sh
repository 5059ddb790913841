#!/usr/bin/env bash
# Runs both scripts on the report of an example book and compares what they print.
# PROGRAM: anacurve; PYTHON: a Python with pyarrow and polars.
set -euo pipefail
cd "$(dirname "$0")"
program="${PROGRAM:-anacurve}"
python="${PYTHON:-python3}"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$program" demo "$work/book" --kind trial >/dev/null
"$program" run "$work/book" --out "$work/reports" >/dev/null
report=$(echo "$work"/reports/*/*)
"$python" read.py "$report" > "$work/python"
RETICULATE_PYTHON="$python" Rscript read.R "$report" > "$work/r"
cmp "$work/python" "$work/r"
{
  echo "read.py and read.R on the report of 'anacurve demo BOOK --kind trial' print the same:"
  echo
  cat "$work/r"
  echo
  "$python" -c 'import sys, pyarrow, polars; print(f"Python {sys.version.split()[0]}, pyarrow {pyarrow.__version__}, polars {polars.__version__}")'
  Rscript -e 'cat(R.version.string, sprintf("%s %s", c("reticulate", "jsonlite"), sapply(c("reticulate", "jsonlite"), function(p) as.character(packageVersion(p)))), sep = ", "); cat("\n")'
} > output.txt
cat output.txt
