"""A book whose every text is an attack, through every command that writes pages and tables.

Usage: hostile.py PROGRAM. Needs chromium. Fails when a page runs or holds an element of the book's,
asks for anything over the network, or when a cell of a table would be a formula.
"""

import csv
import html.parser
import json
import re
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

# What an attack does when it runs: it marks the root element of the page.
RUN = "document.documentElement.dataset.owned=1"
ATTACKS = [
    f"<script>{RUN}</script>",
    f'<img src=x onerror="{RUN}">',
    f'"><hostile-x onmouseover="{RUN}">',
    f"'><hostile-x><svg onload={RUN}>",
    f"</title></style></script><hostile-x><script>{RUN}</script>",
    f"</textarea>--><hostile-x><!--<script>{RUN}//",
    f"]]><hostile-x/><script>{RUN}</script>",
    f"javascript:{RUN}",
    "=HYPERLINK(\"http://127.0.0.1:9/\",\"x\")",
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1+1)",
    "\t=1+1",
    "../../../../tmp/escaped",
    "/etc/passwd",
    "con",
    "\u202e\u2066gnp.exe",
    "{{7*7}}{% include '/etc/passwd' %}",
    "&lt;hostile-x&gt;",
    "x" * 300,
]


def attack(number):
    return f"{ATTACKS[number % len(ATTACKS)]} {number}" if number >= len(ATTACKS) else ATTACKS[number]


def quoted(text):
    return json.dumps(text)


def write_book(folder, turn):
    """Twenty-four trees in four blocks over four seasons, with a trial; every text is an attack."""
    names = iter(attack((turn + n) % len(ATTACKS)) + f" #{n}" for n in range(1000))
    name = lambda: next(names)
    region, site, variety, trial = name(), name(), name(), name()
    blocks, tool, product = [name() for _ in range(4)], name(), name()
    trees = [name() for _ in range(24)]
    levels, factor = [name() for _ in range(3)], "level " + name()
    (folder / "book.toml").write_text(f"""
[book]
name = {quoted(name())}
[economics]
currency = {quoted(name())}
price_per_kg = 1.2
wage_per_hour = 0.9
[economics.pruning_time]
minutes_per_tree = 4.0
minutes_full_canopy = 30.0
[regions.{quoted(region.strip())}]
name = {quoted(name())}
harvest = ["02-01", "05-31"]
rest = ["06-01", "08-31"]
flush = ["09-01", "11-30"]
[work]
crew_size = 2
[work.sites.{quoted(site.strip())}]
crew_size = 1
[[work.tools]]
tool = {quoted(tool)}
kind = "hand"
[products.{quoted(product)}]
kind = "insect_protection"
strength_pct = 5
target_pct = 0.003
usual_pct = 0.003
volume_l_per_tree = 6
package_l = 0.5
[trials.{quoted(trial.strip())}]
title = {quoted(name())}
design = "randomised_blocks"
factors = ["level"]
[[files.trials]]
path = "trials.csv"
header = {{ {quoted(factor.strip())} = "level" }}
""")

    def table(file, rows):
        with open(folder / file, "w", newline="", encoding="utf-8") as out:
            csv.writer(out).writerows(rows)

    table("blocks.csv", [["block", "site", "region", "row_spacing_m", "tree_spacing_m", "variety", "planted"]]
          + [[b, site, region, 8, 8, variety, 2008] for b in blocks])
    table("trees.csv", [["tree", "block"]] + [[t, blocks[n % 4]] for n, t in enumerate(trees)])
    prunings, harvests = [["tree", "date", "intensity", "measured_as", "tool"]], [["tree", "date", "nut_kg"]]
    for year in range(2021, 2025):
        for n, t in enumerate(trees):
            share = 0.1 * (1 + (n + year) % 4)
            prunings.append([t, f"{year - 1}-07-{10 + n % 15}", share, "canopy_fraction", tool])
            harvests.append([t, f"{year}-03-{10 + n % 15}", round(5 + 8 * share - 14 * share**2 + (n * 37 + year * 11) % 17 / 10, 2)])
    harvests.append([attack(turn), "soon", attack(turn + 3)])
    table("prunings.csv", prunings)
    table("harvests.csv", harvests)
    table("trials.csv", [["trial", "tree", "replicate", factor]]
          + [[trial, t, f"{attack(turn + n // 3)} r{n // 3}", levels[n % 3]] for n, t in enumerate(trees[:12])])


class Page(html.parser.HTMLParser):
    """What stands in the DOM that the browser made."""

    def __init__(self):
        super().__init__()
        self.bad = []

    def handle_starttag(self, tag, attributes):
        if tag in ("hostile-x", "img", "iframe", "object", "embed", "base", "applet"):
            self.bad.append(f"an element <{tag}>")
        for key, value in attributes:
            if key == "data-owned":
                self.bad.append("a script of the book ran")
            if key.startswith("on"):
                self.bad.append(f"a handler {key} on <{tag}>")
            if key in ("href", "src", "xlink:href") and re.match(r"\s*(javascript|data|https?|//)", value or "", re.I):
                self.bad.append(f"{key}={value!r}")


def look_at(page, home):
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
               "--disable-background-networking", "--disable-component-update", "--disable-sync",
               f"--user-data-dir={home}/profile", "--enable-logging=stderr", "--v=0",
               "--virtual-time-budget=2000", "--dump-dom", f"file://{page}"]
    ran = subprocess.run(command, capture_output=True, timeout=120)
    dom = ran.stdout.decode("utf-8", "replace")
    assert "<html" in dom, f"{page}: nothing rendered"
    found = Page()
    found.feed(dom)
    console = [line for line in ran.stderr.decode("utf-8", "replace").splitlines() if "CONSOLE" in line]
    assert not found.bad and not console, f"{page}: {found.bad} {console}"
    assert "\u202e" not in dom and "\u2066" not in dom, f"{page}: text that turns its surroundings"


# The tables of a layout, to be put into the book.
READ_BACK = {"trials.csv", "trees.csv", "blocks.csv"}


def look_at_tables(folder):
    for path in folder.rglob("*.csv"):
        with open(path, newline="", encoding="utf-8") as file:
            for row in csv.reader(file):
                for cell in row:
                    is_number = re.fullmatch(r"-?[0-9.]+(e-?[0-9]+)?", cell)
                    # Tables that are read back as records keep their texts as they are.
                    if path.name in READ_BACK or is_number:
                        continue
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), f"{path}: {cell!r}"
    for path in folder.rglob("*.xlsx"):
        with zipfile.ZipFile(path) as book:
            for part in book.namelist():
                text = book.read(part).decode("utf-8", "replace")
                assert "<f>" not in text and "<f " not in text, f"{path}: a formula in {part}"
                assert "hyperlink" not in part.lower() and "<hyperlink" not in text, f"{path}: a link"


def check_the_check():
    """Every attack that can run does run in a page that lets it, and is seen."""
    with tempfile.TemporaryDirectory() as home:
        for markup in (ATTACKS[0], ATTACKS[1], f'<a title="{ATTACKS[2]}">', f"<a title='{ATTACKS[3]}'>",
                       ATTACKS[4], ATTACKS[16], f'<a href="{ATTACKS[7]}">x</a>'):
            page = Path(home) / "page.html"
            page.write_text(f'<!DOCTYPE html><meta charset="utf-8"><p>{markup}')
            try:
                look_at(page, home)
            except AssertionError:
                continue
            raise SystemExit(f"not seen: {markup}")


def main():
    program = Path(sys.argv[1]).resolve()
    check_the_check()
    pages = 0
    for turn in range(0, len(ATTACKS), 4):
        with tempfile.TemporaryDirectory() as home:
            home = Path(home)
            book, out = home / "book", home / "out"
            book.mkdir()
            write_book(book, turn)
            (home / "request.toml").write_text(
                f'trial = {quoted(attack(turn))}\ntitle = {quoted(attack(turn + 1))}\ndesign = "randomised_blocks"\nreplicates = 3\n'
                f'[[factors]]\nname = {quoted(attack(turn + 2))}\nlevels = [{", ".join(quoted(attack(turn + n)) for n in (3, 4, 5))}]\n'
                '[field]\nrows = 3\ncolumns = 3\n')
            commands = [["run", book, "--out", out], ["plan", book, "--out", out / "plan"],
                        ["trial", book, "--out", out / "trial"], ["review", book, "--out", out / "review"],
                        ["check", book, "--out", out / "check"],
                        ["layout", home / "request.toml", "--out", out / "layout", "--seed", "1"]]
            for command in commands:
                ran = subprocess.run([program, *command], capture_output=True, cwd=home)
                shown = ran.stderr.decode("utf-8", "replace")
                assert ran.returncode in (0, 1) or command[0] == "layout", f"turn {turn}: {command[0]}: {shown}"
                for stream in (ran.stdout, ran.stderr):
                    text = stream.decode()
                    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text), f"{command[0]} prints control characters"
            for path in home.rglob("*"):
                assert path.is_relative_to(out) or path.is_relative_to(book) or path == home / "request.toml" or path == out, path
                assert len(path.name.encode()) <= 200 and re.fullmatch(r"[\w.\-]+", path.name), path
            assert not Path("/tmp/escaped").exists()
            look_at_tables(out)
            for page in sorted(out.rglob("*.html")):
                look_at(page, home)
                pages += 1
    assert pages >= 30, f"only {pages} pages"
    print(f"{pages} pages of hostile books: nothing ran, nothing of theirs stands in them, no cell is a formula")


if __name__ == "__main__":
    main()
