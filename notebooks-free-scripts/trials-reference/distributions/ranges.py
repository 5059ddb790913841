"""Studentised range over the grid of ranges.R by scipy, Dunnett's integral by scipy's quadrature.

usage: python ranges.py OUT_FOLDER (after ranges.R)
"""

import json
import sys

import numpy as np
import scipy
from scipy.integrate import quad
from scipy.special import ndtr
from scipy.stats import chi, norm, studentized_range

folder = sys.argv[1]
r = json.load(open(f"{folder}/ranges.json"))
g = r["range"]
df = [np.inf if d < 0 else d for d in g["df"]]
upper = [float(studentized_range.sf(q, k, d)) for q, k, d in zip(g["q"], g["count"], df)]
print("largest difference between R and scipy:", np.abs(np.array(upper) - g["upper"]).max())


def outside(loadings, t, both):
    def at(z):
        inside = 1.0
        for l in loadings:
            c = np.sqrt(1 - l * l)
            inside *= ndtr((t - l * z) / c) - (ndtr((-t - l * z) / c) if both else 0)
        return (1 - inside) * norm.pdf(z)

    return quad(at, -12, 12, epsabs=1e-13, epsrel=1e-12, limit=500)[0]


def dunnett(case, both):
    n = np.array(case["replicates"], float)
    loadings = np.sqrt(n[:-1] / (n[:-1] + n[-1]))
    if case["df"] == 0:
        return outside(loadings, case["t"], both)
    d = case["df"]
    return quad(
        lambda s: chi.pdf(s * np.sqrt(d), d) * np.sqrt(d) * outside(loadings, case["t"] * s, both),
        0, 6, epsabs=1e-11, epsrel=1e-10, limit=300, points=[0.5, 1, 1.5],
    )[0]


both = [dunnett(c, True) for c in r["dunnett"]]
above = [dunnett(c, False) for c in r["dunnett"]]
print("largest difference between mvtnorm and quadrature:",
      max(np.abs(np.array(both) - [c["both"] for c in r["dunnett"]]).max(),
          np.abs(np.array(above) - [c["above"] for c in r["dunnett"]]).max()))
json.dump({"source": f"scipy {scipy.__version__}: studentized_range, integrate.quad",
           "upper": upper, "both": both, "above": above},
          open(f"{folder}/ranges-scipy.json", "w"))
