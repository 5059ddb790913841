"""One size as lines of CSV: stage by stage, ours and polars'. Usage: line.py POLARS.json RUN.json."""

import json
import sys

with open(sys.argv[1]) as file:
    polars = json.load(file)
with open(sys.argv[2]) as file:
    run = json.load(file)
size = run["work"]["tree_seasons"]
rows = run["work"]["rows"]


def line(side, stage, told):
    memory = told.get("peak_memory_bytes") or 0
    print(f"{size},{rows},{side},{stage},{told['wall_seconds']:.3f},{told['cpu_seconds']:.2f},"
          f"{memory / 1e9:.3f}")


for side, told in (("polars", polars), ("anacurve", run)):
    for stage in told["stages"]:
        line(side, stage["stage"], stage)
    line(side, "whole", told)
