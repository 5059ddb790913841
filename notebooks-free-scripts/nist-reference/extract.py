"""Writes the NIST StRD sets that packages carry, with their certified values.

usage: python extract.py GSL_SOURCE_FOLDER OUT_FOLDER

Analysis of variance (all eleven sets): the files that scipy ships for its own
tests. Linear regression: the tests of the GNU Scientific Library, whose source
is Debian's package gsl (apt-get source gsl). Nothing is retyped: numbers stay
the text of the source.

anova.csv        set,treatment,response,count (equal rows counted)
regression.csv   set,y,x1,... (empty where a set has fewer columns)
certified.csv    set,quantity,term,value
rounded.csv      the same in exact rational arithmetic after each number has been
                 rounded to f64: what a program that reads f64 can reach. Not
                 for filip, whose powers are no longer the numbers given.
"""

import collections
import csv
import pathlib
import re
import sys
from decimal import Decimal, getcontext
from fractions import Fraction

import scipy

gsl = pathlib.Path(sys.argv[1])
out = pathlib.Path(sys.argv[2])
certified = []


def write(name, header, rows):
    with open(out / name, "w", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def anova():
    folder = pathlib.Path(scipy.__file__).parent / "stats/tests/data/nist_anova"
    rows = []
    for path in sorted(folder.glob("*.dat")):
        text = path.read_text()
        between = re.search(r"^Between \w+ +(\S+) +(\S+) +(\S+) +(\S+)", text, re.M)
        within = re.search(r"^Within \w+ +(\S+) +(\S+) +(\S+)", text, re.M)
        square = re.search(r"Certified R-Squared +(\S+)", text)
        spread = re.search(r"Standard Deviation +(\S+)", text)
        name = path.stem
        certified.extend(
            [
                (name, "df_between", "all", between[1]),
                (name, "ss_between", "all", between[2]),
                (name, "f", "all", between[4]),
                (name, "df_within", "all", within[1]),
                (name, "ss_within", "all", within[2]),
                (name, "r_squared", "all", square[1]),
                (name, "residual_sd", "all", spread[1]),
            ]
        )
        body = text[text.rindex("Data:  ") :].splitlines()[1:]
        pairs = [tuple(line.split()) for line in body if line.strip()]
        first, last = re.search(r"Data +\(lines +(\d+) to +(\d+)\)", text).groups()
        assert len(pairs) == int(last) - int(first) + 1, name
        rows += [(name, *pair, n) for pair, n in collections.Counter(pairs).items()]
    write("anova.csv", ["set", "treatment", "response", "count"], rows)


def numbers(text, name):
    body = re.search(rf"{name}\s*\[[^\]]*\]\s*=\s*\{{(.*?)\}}", text, re.S)[1]
    return [cell.strip() for cell in body.split(",")]


def regression():
    rows = []
    for name in ["longley", "filip", "pontius"]:
        text = (gsl / f"multifit/test_{name}.c").read_text()
        y, x = numbers(text, f"{name}_y"), numbers(text, f"{name}_x")
        width = len(x) // len(y)
        for i, value in enumerate(y):
            # Longley's first column is the intercept.
            cells = x[i * width : (i + 1) * width]
            rows.append((name, value, *(cells[1:] if width > 1 else cells)))
        for term, value in enumerate(numbers(text, "expected_c")):
            certified.append((name, "estimate", term, value))
        for term, value in enumerate(numbers(text, "expected_sd")):
            certified.append((name, "std_error", term, value))
        rss = re.search(r"expected_chisq =\s+(\S+);", text)[1]
        certified.append((name, "ss_residual", "all", rss))
    text = (gsl / "fit/test.c").read_text()
    for name, terms in [("norris", [0, 1]), ("noint1", [1]), ("noint2", [1])]:
        rows += [(name, y, x) for x, y in zip(numbers(text, f"{name}_x"), numbers(text, f"{name}_y"))]
        # The first block that loads the set holds NIST's values.
        block = text[text.index(f"i < {name}_n") :]
        for term in terms:
            value = re.search(rf"expected_c{term} =\s+(\S+);", block)[1]
            error = re.search(rf"expected_cov{term}{term} =\s+pow\((\S+), 2.0\)", block)[1]
            certified.append((name, "estimate", term, value))
            certified.append((name, "std_error", term, error))
        rss = re.search(r"expected_sumsq =\s+(\S+);", block)[1]
        certified.append((name, "ss_residual", "all", rss))
    width = max(map(len, rows))
    header = ["set", "y"] + [f"x{i}" for i in range(1, width - 1)]
    write("regression.csv", header, [list(r) + [""] * (width - len(r)) for r in rows])


def text_of(value):
    return str(Decimal(value.numerator) / Decimal(value.denominator))


def root(value):
    return str((Decimal(value.numerator) / Decimal(value.denominator)).sqrt())


def solve(a, b):
    """Gauss-Jordan on fractions; returns the inverse and the solution."""
    n = len(a)
    work = [row[:] + [Fraction(i == j) for j in range(n)] + [b[i]] for i, row in enumerate(a)]
    for i in range(n):
        pivot = next(r for r in range(i, n) if work[r][i] != 0)
        work[i], work[pivot] = work[pivot], work[i]
        work[i] = [x / work[i][i] for x in work[i]]
        for r in range(n):
            if r != i:
                work[r] = [x - work[r][i] * y for x, y in zip(work[r], work[i])]
    return [row[n : 2 * n] for row in work], [row[-1] for row in work]


def rounded():
    getcontext().prec = 40
    rows = []
    with open(out / "anova.csv") as handle:
        table = list(csv.DictReader(handle))
    for name in dict.fromkeys(r["set"] for r in table):
        cells = collections.defaultdict(list)
        for r in table:
            if r["set"] == name:
                cells[r["treatment"]].append((Fraction(float(r["response"])), int(r["count"])))
        count = {t: sum(n for _, n in c) for t, c in cells.items()}
        total = {t: sum(y * n for y, n in c) for t, c in cells.items()}
        rows_all = sum(count.values())
        grand = sum(total.values()) / rows_all
        between = sum(count[t] * (total[t] / count[t] - grand) ** 2 for t in cells)
        within = sum(n * (y - total[t] / count[t]) ** 2 for t, c in cells.items() for y, n in c)
        df = (len(cells) - 1, rows_all - len(cells))
        rows += [
            (name, "ss_between", "all", text_of(between)),
            (name, "ss_within", "all", text_of(within)),
            (name, "f", "all", text_of(between / df[0] / (within / df[1]))),
            (name, "r_squared", "all", text_of(between / (between + within))),
            (name, "residual_sd", "all", root(within / df[1])),
        ]
    with open(out / "regression.csv") as handle:
        table = list(csv.DictReader(handle))
    for name in dict.fromkeys(r["set"] for r in table if r["set"] != "filip"):
        mine = [r for r in table if r["set"] == name]
        y = [Fraction(float(r["y"])) for r in mine]
        x = [[Fraction(float(r[c])) for c in r if c.startswith("x") and r[c]] for r in mine]
        if name == "pontius":
            x = [row + [row[0] ** 2] for row in x]
        first = 1
        if not name.startswith("noint"):
            x = [[Fraction(1)] + row for row in x]
            first = 0
        p = len(x[0])
        a = [[sum(r[i] * r[j] for r in x) for j in range(p)] for i in range(p)]
        inverse, b = solve(a, [sum(r[i] * v for r, v in zip(x, y)) for i in range(p)])
        rss = sum((v - sum(c * z for c, z in zip(b, r))) ** 2 for r, v in zip(x, y))
        for i in range(p):
            rows.append((name, "estimate", i + first, text_of(b[i])))
            error = inverse[i][i] * rss / (len(y) - p)
            rows.append((name, "std_error", i + first, root(error)))
        rows.append((name, "ss_residual", "all", text_of(rss)))
    write("rounded.csv", ["set", "quantity", "term", "value"], rows)


anova()
regression()
rounded()
write("certified.csv", ["set", "quantity", "term", "value"], certified)
print(f"scipy {scipy.__version__}; {gsl.name}; {len(certified)} certified values")
