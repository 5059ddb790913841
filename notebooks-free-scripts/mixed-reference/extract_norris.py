"""Writes norris.csv and norris-certified.csv from scipy's own test of the
NIST StRD data set Norris (linear regression, lower difficulty).

usage: python extract_norris.py OUT_FOLDER
Needs: pip install scipy
The data and certified values are read from the source text of
scipy/stats/tests/test_stats.py (test_nist_norris), so nothing is retyped.
"""

import ast
import csv
import pathlib
import sys

import scipy

out = pathlib.Path(sys.argv[1])
source = pathlib.Path(scipy.__file__).parent / "stats/tests/test_stats.py"
tree = ast.parse(source.read_text())
test = next(
    node
    for node in ast.walk(tree)
    if isinstance(node, ast.FunctionDef) and "norris" in node.name
)
lists, certified = {}, {}
for node in ast.walk(test):
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
        name = node.targets[0].id
        if isinstance(node.value, ast.List):
            lists[name] = [ast.unparse(v) for v in node.value.elts]
    if isinstance(node, ast.Call) and "assert" in ast.unparse(node.func):
        what, value = node.args[:2]
        certified[ast.unparse(what)] = ast.unparse(value)
with open(out / "norris.csv", "w", newline="") as handle:
    writer = csv.writer(handle, lineterminator="\n")
    writer.writerow(["x", "y"])
    writer.writerows(zip(lists["x"], lists["y"], strict=True))
with open(out / "norris-certified.csv", "w", newline="") as handle:
    writer = csv.writer(handle, lineterminator="\n")
    writer.writerow(["quantity", "value"])
    writer.writerows(certified.items())
print(f"scipy {scipy.__version__}, {len(lists['x'])} rows, {certified}")
