#!/bin/sh
# The whole of `anacurve run` beside polars merely reading and joining the same files.
#
# Usage: BIN=target/release PYTHON=python run.sh SCRATCH csv|parquet SIZE...
# Needs `cargo build --release --workspace --bins --example write_large`, and a Python with polars.
# Writes one line per size to standard output; books, reports and timings stay under SCRATCH.
set -eu
scratch=$1
kind=$2
shift 2
here=$(dirname "$0")
mkdir -p "$scratch"
for size in "$@"; do
    book=$scratch/$kind-$size
    [ -e "$book/book.toml" ] || "$BIN/examples/write_large" "$book" "$size" "$kind"
    "$PYTHON" "$here/baseline.py" "$book" "$book.polars.json"
    "$BIN/anacurve" run "$book" --out "$book.reports" --timings "$book.run.json" > "$book.summary.txt"
    "$PYTHON" "$here/line.py" "$book.polars.json" "$book.run.json"
done
