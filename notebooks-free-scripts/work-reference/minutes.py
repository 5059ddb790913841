"""Working minutes: simulated with a known truth, fitted by a generalised linear model of another
package (gamma family, identity link, Pearson scale: variance proportional to the squared mean)."""

import csv
import sys

import numpy as np
import scipy.stats
import statsmodels
import statsmodels.api as sm

out = sys.argv[1]
rng = np.random.default_rng(20260)
n = 240
intensity = np.round(rng.uniform(0.05, 0.5, n), 2)
size = np.round(rng.uniform(10, 60, n), 1)
tool = np.where(rng.random(n) < 0.6, "saw", "shears")
truth = np.where(tool == "saw", 5.0, 3.0) + np.where(tool == "saw", 8.0, 12.0) * intensity + 20.0 * intensity * size / 35.0
minutes = np.round(truth * rng.gamma(25.0, 1 / 25.0, n), 2)
with open(f"{out}/minutes.csv", "w", newline="") as file:
    writer = csv.writer(file)
    writer.writerow(["intensity", "size", "tool", "minutes"])
    writer.writerows(zip(intensity, size, tool, minutes))

saw = (tool == "saw").astype(float)
scaled = intensity * size / size.mean()
x = np.column_stack([saw, 1 - saw, saw * intensity, (1 - saw) * intensity, scaled])
family = sm.families.Gamma(sm.families.links.Identity())
fit = sm.GLM(minutes, x, family=family).fit(scale="X2", maxiter=500, tol=1e-14)
assert (fit.params > 0).all(), fit.params
t = scipy.stats.t.ppf(0.975, n - 5)
with open(f"{out}/minutes_fit.csv", "w", newline="") as file:
    writer = csv.writer(file)
    writer.writerow(["quantity", "value"])
    names = ["per_tree_saw", "per_tree_shears", "full_canopy_saw", "full_canopy_shears", "by_size"]
    for name, value in zip(names, fit.params):
        writer.writerow([name, repr(float(value))])
    writer.writerow(["cv", repr(float(np.sqrt(fit.scale)))])
    row = np.array([1, 0, 0.3, 0, 0.3 * 50 / size.mean()])
    mean = row @ fit.params
    se = np.sqrt(row @ fit.cov_params() @ row)
    new = np.sqrt(se**2 + fit.scale * mean**2)
    for name, value in [("saw_30_50_mean", mean), ("saw_30_50_mean_high", mean + t * se), ("saw_30_50_new_low", mean - t * new)]:
        writer.writerow([name, repr(float(value))])
print("numpy", np.__version__, "scipy", scipy.__version__, "statsmodels", statsmodels.__version__)
