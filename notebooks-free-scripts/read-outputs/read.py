"""Reads the outputs of a run: python read.py REPORT_FOLDER. Needs pyarrow and polars."""

import json
import sys
from pathlib import Path

import polars as pl
import pyarrow.ipc as ipc
import pyarrow.parquet as pq

report = Path(sys.argv[1])

# The linked table: one row per tree and season. Units and meanings are in each column's metadata.
table = pq.read_table(report / "tree_seasons.parquet")
field = table.schema.field("yield_kg")
print(f"yield_kg [{field.metadata[b'unit'].decode()}]: {field.metadata[b'doc'].decode()}")

classes = (
    pl.from_arrow(table)
    .filter(~pl.col("young"))
    .with_columns(cut=(pl.col("intensity") * 100).round().cast(pl.Int32) // 15 * 15)
    .group_by("region", "cut")
    .agg(n=pl.len(), kg=pl.col("yield_kg").mean())
    .sort("region", "cut")
)
for region, cut, n, kg in classes.iter_rows():
    print(f"{region}: {cut} to {cut + 14} % removed, {n} tree-seasons, {kg:.3f} kg per tree")

# The advice: one row per region, names as in dictionary.html.
for row in pq.read_table(report / "advice.parquet").to_pylist():
    low, high = row["gain_over_present_kg_low"], row["gain_over_present_kg_high"]
    print(f"{row['name']}: {row['verdict']}, remove {row['advised_intensity']}, gain {low:.3f} to {high:.3f} kg per tree")

# Posterior draws of the coefficients; absent when a book is too small for a fit.
with ipc.open_file(report / "draws.arrow") as file:
    sigma = pl.from_arrow(file.read_all())["sigma"]
quantiles = [sigma.quantile(q, "linear") for q in (0.025, 0.5, 0.975)]
print("residual sd:", " ".join(f"{value:.5f}" for value in quantiles), f"({len(sigma)} draws)")

# Designed trials, where the book declares some.
if (report / "trials.json").is_file():
    for trial in json.loads((report / "trials.json").read_text()):
        for season in trial["together"]:
            for mean in season["combined"]["Ok"]["means"]:
                print(f"{trial['trial']}: {mean['treatment']}, {mean['mean']:.3f} {season['observed']['unit']}")
