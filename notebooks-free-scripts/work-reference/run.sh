#!/bin/sh
# Regenerates tests/reference/work. Needs Python with numpy, scipy and statsmodels, and node.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
out="$here/../../tests/reference/work"
"${PYTHON:-python3}" "$here/minutes.py" "$out" > "$out/versions.txt"
node "$here/what_if.mjs" "$here/../../crates/workplan/src/economics/what_if.js" "$out/what_if.json" >> "$out/versions.txt"
