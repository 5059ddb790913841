"""Noncentral F over the grid of noncentral_f.R by scipy, in a second file: two witnesses.

usage: python noncentral_f.py OUT_FOLDER (after noncentral_f.R)
"""

import json
import sys

import numpy as np
import scipy
from scipy.stats import f, ncf, ncx2

folder = sys.argv[1]
grid = json.load(open(f"{folder}/noncentral-f.json"))
df1, df2, ncp, x = (np.array(grid[k], float) for k in ("df1", "df2", "ncp", "x"))
finite = df2 > 0
upper = np.empty_like(x)
upper[finite] = ncf.sf(x[finite], df1[finite], df2[finite], ncp[finite])
upper[~finite] = ncx2.sf(df1[~finite] * x[~finite], df1[~finite], ncp[~finite])
# scipy's ncf.sf is minus the cdf when the noncentrality is 0.
central = finite & (ncp == 0)
upper[central] = f.sf(x[central], df1[central], df2[central])
cdf = np.empty_like(x)
cdf[finite] = ncf.cdf(x[finite], df1[finite], df2[finite], ncp[finite])
cdf[~finite] = ncx2.cdf(df1[~finite] * x[~finite], df1[~finite], ncp[~finite])
print("largest difference between R and scipy, cdf:", np.abs(cdf - grid["cdf"]).max())
print("largest difference between R and scipy, upper tail:", np.abs(upper - grid["upper"]).max())
p = {k: np.array(v, float) for k, v in grid["power"].items()}
critical = f.isf(0.05, p["df1"], p["df2"])
power = ncf.sf(critical, p["df1"], p["df2"], p["ncp"])
json.dump(
    {"source": f"scipy {scipy.__version__} f, ncf and ncx2, grid of noncentral-f.json",
     "cdf": cdf.tolist(), "upper": upper.tolist(), "critical": critical.tolist(), "power": power.tolist()},
    open(f"{folder}/noncentral-f-scipy.json", "w"),
)
