#!/bin/sh
# Regenerates tests/reference/nist. Needs R, Python with scipy (PYTHON names
# it), and the unpacked source of Debian's gsl as the first argument.
set -eu
here=$(dirname "$0")
out="$here/../../tests/reference/nist"
mkdir -p "$out"
{
  "${PYTHON:-python3}" "$here/extract.py" "$1" "$out"
  Rscript "$here/peer.R" "$out"
} > "$out/run-output.txt" 2>&1
