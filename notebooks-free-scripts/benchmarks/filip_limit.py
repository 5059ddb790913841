"""How many digits NIST's Filip set can have once its numbers are f64.

usage: python filip_limit.py FOLDER_OF_NIST_REFERENCE [EXACT_CSV]

With a second argument, writes the exact answer for the columns multiplied up,
which the engine's test reads (crates/mixed/tests/filip_columns.csv).

Least squares in exact rational arithmetic, compared with the certified values:
- decimal: the numbers as printed (must agree with what is certified);
- data: x and y rounded to f64, powers of x exact;
- columns: each power rounded to f64 too, once from the exact power and once
  by multiplying up, as a program does that builds its columns;
- last bits: the columns of `data` rounded up or down at random (seeded), the
  fewest, median and most digits of 25 such sets.
Digits are -log10 of the relative error of the worst quantity.
"""

import csv
import math
import pathlib
import random
import sys
from fractions import Fraction

folder = pathlib.Path(sys.argv[1])
with open(folder / "regression.csv") as handle:
    table = [r for r in csv.DictReader(handle) if r["set"] == "filip"]
with open(folder / "certified.csv") as handle:
    certified = {
        (r["quantity"], r["term"]): float(r["value"])
        for r in csv.DictReader(handle)
        if r["set"] == "filip"
    }
TERMS = 11


def least_squares(columns, y):
    """Estimates, squared standard errors and residual sum of squares."""
    gram = [[sum(a * b for a, b in zip(c, d)) for d in columns + [y]] for c in columns]
    work = [row + [Fraction(i == j) for j in range(TERMS)] for i, row in enumerate(gram)]
    for i in range(TERMS):
        work[i] = [x / work[i][i] for x in work[i]]
        for r in range(TERMS):
            if r != i and work[r][i]:
                factor = work[r][i]
                work[r] = [x - factor * z for x, z in zip(work[r], work[i])]
    b = [row[TERMS] for row in work]
    rss = sum(v * v for v in y) - sum(b[i] * gram[i][TERMS] for i in range(TERMS))
    variance = rss / (len(y) - TERMS)
    return b, [work[i][TERMS + 1 + i] * variance for i in range(TERMS)], rss


def digits(columns, y):
    b, squares, rss = least_squares(columns, y)
    found = {("ss_residual", "all"): float(rss)}
    for i in range(TERMS):
        found["estimate", str(i)] = float(b[i])
        found["std_error", str(i)] = math.sqrt(squares[i])
    worst = 15.0
    for key, value in certified.items():
        error = abs(found[key] / value - 1.0)
        worst = min(worst, -math.log10(error) if error else 15.0)
    return worst


def powers(x):
    return [[v**k for v in x] for k in range(TERMS)]


def multiplied(x):
    out = [[1.0] * len(x)]
    for _ in range(TERMS - 1):
        out.append([a * b for a, b in zip(out[-1], x)])
    return [[Fraction(v) for v in c] for c in out]


def either_way(value, source):
    near = float(value)
    exact = Fraction(near)
    if exact == value:
        return exact
    other = math.nextafter(near, math.inf if exact < value else -math.inf)
    return Fraction(source.choice([near, other]))


x_text, y_text = [r["x1"] for r in table], [r["y"] for r in table]
decimal = ([Fraction(v) for v in x_text], [Fraction(v) for v in y_text])
x, y = [Fraction(float(v)) for v in x_text], [Fraction(float(v)) for v in y_text]
rounded = [[Fraction(float(v)) for v in c] for c in powers(x)]
print(f"decimal                {digits(powers(decimal[0]), decimal[1]):5.1f}")
print(f"data as f64            {digits(powers(x), y):5.1f}")
print(f"columns, rounded once  {digits(rounded, y):5.1f}")
print(f"columns, multiplied up {digits(multiplied([float(v) for v in x_text]), y):5.1f}")
if len(sys.argv) > 2:
    b, squares, rss = least_squares(multiplied([float(v) for v in x_text]), y)
    rows = [("filip", "estimate", i, repr(float(b[i]))) for i in range(TERMS)]
    rows += [("filip", "std_error", i, repr(math.sqrt(squares[i]))) for i in range(TERMS)]
    rows.append(("filip", "ss_residual", "all", repr(float(rss))))
    with open(sys.argv[2], "w", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["set", "quantity", "term", "value"])
        writer.writerows(rows)
source = random.Random(1)
many = sorted(
    digits([[either_way(v, source) for v in c] for c in powers(x)], y) for _ in range(25)
)
print(f"last bits at random    {many[0]:5.1f} {many[12]:5.1f} {many[-1]:5.1f}")
