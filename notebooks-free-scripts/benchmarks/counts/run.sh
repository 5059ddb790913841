#!/bin/sh
# Fits the same simulated rows with glmmTMB and with the engine, one after the
# other on an otherwise idle machine, and keeps answers beside times.
# usage: run.sh OUT_FILE   (needs R with glmmTMB, and cargo)
set -eu
here=$(cd "$(dirname "$0")" && pwd)
out=$1
work=$(mktemp -d)
trap 'rm -r "$work"' EXIT
cd "$here/../../.."
cargo build --release -q -p mixed --example counts_benchmark
binary=${CARGO_TARGET_DIR:-target}/release/examples/counts_benchmark
{
  date -u +%Y-%m-%d
  sed -n 's/^model name[^:]*: //p' /proc/cpuinfo | sort | uniq -c
  rustc --version
  echo "truth: coefficients 0.8 0.3 -0.25 0.2 -0.15, sd 0.5 (tree) 0.4 (other), size 1.5"
  for design in nested crossed; do
    Rscript "$here/glmmtmb.R" simulate $design "$work/$design.csv"
    echo "--- $design, load $(cut -d' ' -f1 /proc/loadavg)"
    "$binary" "$work/$design.csv"
    Rscript "$here/glmmtmb.R" fit $design "$work/$design.csv" 1
    Rscript "$here/glmmtmb.R" fit $design "$work/$design.csv" 2
    "$binary" "$work/$design.csv"
  done
} > "$out"
