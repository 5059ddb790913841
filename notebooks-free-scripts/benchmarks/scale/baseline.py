"""Polars merely reading a book's tables, adding up picks and prunings and joining them.

Usage: baseline.py BOOK RESULT.json. One process per run: peak memory is that of the process.
"""

import glob
import json
import os
import resource
import sys
import time

import polars as pl

book, result = sys.argv[1:3]
start = time.perf_counter()
stages = []


def stage(name, work):
    before = (time.perf_counter(), sum(os.times()[:2]))
    value = work()
    stages.append(
        {
            "stage": name,
            "wall_seconds": time.perf_counter() - before[0],
            "cpu_seconds": sum(os.times()[:2]) - before[1],
        }
    )
    return value


def read(table):
    for ending, reader in (("csv", pl.read_csv), ("parquet", pl.read_parquet)):
        files = sorted(glob.glob(f"{book}/{table}*.{ending}"))
        if files:
            # A column that is empty in one file would be read as text there.
            numbers = {"moisture_pct": pl.Float64} if table == "harvests" else {}
            options = {"try_parse_dates": True, "schema_overrides": numbers} if ending == "csv" else {}
            return pl.concat([reader(file, **options) for file in files], how="vertical_relaxed")
    raise SystemExit(f"{book} has no table {table}")


# A season is taken as the calendar year of the pick here; a visit counts for the year after.
def year(shift):
    return (pl.col("date").dt.year() + shift).alias("season")


tables = {name: stage(f"read_{name}", lambda: read(name)) for name in
          ("blocks", "trees", "prunings", "harvests", "laterals")}
yields = stage(
    "add_up_picks",
    lambda: tables["harvests"].group_by("tree", year(0)).agg(
        pl.col("nut_kg").sum(), pl.len().alias("picks"), pl.col("moisture_pct").mean()
    ),
)
prunings = stage(
    "add_up_prunings",
    lambda: tables["prunings"].group_by("tree", year(1)).agg(
        (1 - (1 - pl.col("intensity")).product()).alias("intensity"),
        pl.col("date").max(),
        pl.col("minutes").sum(),
    ),
)
laterals = stage(
    "add_up_frames",
    lambda: tables["laterals"].group_by("tree", year(0)).agg(
        pl.col("laterals").sum(), pl.col("flowering_laterals").sum(), pl.col("frame_m2").sum()
    ),
)
joined = stage(
    "join_and_sort",
    lambda: yields.join(prunings, on=["tree", "season"], how="left")
    .join(laterals, on=["tree", "season"], how="left")
    .join(tables["trees"], on="tree", how="left")
    .join(tables["blocks"], on="block", how="left")
    .sort("region", "site", "block", "tree", "season"),
)
answer = {
    "polars": pl.__version__,
    "threads": pl.thread_pool_size(),
    "stages": stages,
    "wall_seconds": time.perf_counter() - start,
    "cpu_seconds": sum(os.times()[:2]),
    "peak_memory_bytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024,
    # The answer beside the time.
    "tree_seasons": joined.height,
    "picks": tables["harvests"].height,
    "prunings": tables["prunings"].height,
    "frames": tables["laterals"].height,
    "kg": round(joined["nut_kg"].sum(), 2),
}
with open(result, "w") as out:
    json.dump(answer, out, indent=2)
    out.write("\n")
