"""Draws processor time and peak memory against tree-seasons. Usage: growth.py RESULT.csv OUT.svg."""

import csv
import sys

import matplotlib

matplotlib.use("svg")
matplotlib.rcParams["svg.hashsalt"] = "anacurve"
import matplotlib.pyplot as plt

with open(sys.argv[1]) as file:
    rows = [row for row in csv.reader(file) if row and row[0].isdigit()]
table = {}
for size, _, side, stage, _, cpu, memory in rows:
    table.setdefault((side, stage), []).append((int(size), float(cpu), float(memory)))
figure, (time, held) = plt.subplots(1, 2, figsize=(11, 4.5))
whole = [("anacurve", "whole", "anacurve run", "o-"), ("polars", "whole", "polars, read and join", "s--")]
for side, stage, name, style in whole:
    points = sorted(table.get((side, stage), []))
    time.loglog([p[0] for p in points], [p[1] for p in points], style, label=name)
    held.loglog([p[0] for p in points], [p[2] for p in points], style, label=name)
stages = {stage for side, stage in table if side == "anacurve" and stage != "whole"}
heavy = sorted(stages, key=lambda stage: -max(p[1] for p in table["anacurve", stage]))[:5]
for stage in heavy:
    points = sorted(table["anacurve", stage])
    time.loglog([p[0] for p in points], [max(p[1], 0.01) for p in points], ":", label=stage)
time.set_ylabel("processor seconds")
held.set_ylabel("peak memory, GB")
for axes in (time, held):
    axes.set_xlabel("tree-seasons")
    axes.grid(True, which="major", alpha=0.3)
    axes.legend(fontsize=8)
figure.tight_layout()
figure.savefig(sys.argv[2], metadata={"Date": None})
