"""Reference groupings of Fisher's iris measurements by scikit-learn, and binomial limits by scipy.

Writes iris.csv (the data as scikit-learn ships them, Fisher 1936 as corrected there), its groups and
clusters.csv (indices). Usage: python clusters.py OUT_FOLDER
"""

import csv
import pathlib
import sys

import numpy as np
import scipy
import sklearn
from scipy.stats import binomtest, false_discovery_control
from sklearn.cluster import AgglomerativeClustering, KMeans
from sklearn.datasets import load_iris
from sklearn.metrics import adjusted_rand_score, silhouette_score
from sklearn.preprocessing import StandardScaler

out = pathlib.Path(sys.argv[1])
iris = load_iris()
raw = iris.data
standard = StandardScaler().fit_transform(raw)
columns, values = {}, []
for name, points in (("raw", raw), ("standard", standard)):
    for k in range(2, 7):
        fit = KMeans(k, n_init=100, random_state=1, tol=0).fit(points)
        linkage = AgglomerativeClustering(k, linkage="average").fit(points)
        values += [
            (f"{name}.within", k, fit.inertia_),
            (f"{name}.silhouette", k, silhouette_score(points, fit.labels_)),
            (f"{name}.linkage_silhouette", k, silhouette_score(points, linkage.labels_)),
            (f"{name}.agreement", k, adjusted_rand_score(fit.labels_, linkage.labels_)),
        ]
        if k == 3:
            columns[f"{name}_kmeans"] = fit.labels_
            columns[f"{name}_linkage"] = linkage.labels_

# The gap statistic by its formula: 500 reference sets uniform over each column's range.
rng = np.random.default_rng(1)
low, high = standard.min(axis=0), standard.max(axis=0)
sets = [rng.uniform(low, high, standard.shape) for _ in range(500)]
for k in range(1, 7):
    logs = [np.log(KMeans(k, n_init=3, random_state=1).fit(s).inertia_) for s in sets]
    own = np.log(KMeans(k, n_init=50, random_state=1).fit(standard).inertia_)
    values += [("standard.gap", k, np.mean(logs) - own), ("standard.gap_sd", k, np.std(logs))]

with open(out / "iris.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["sepal_length", "sepal_width", "petal_length", "petal_width", *columns])
    for row, *groups in zip(raw, *columns.values()):
        writer.writerow([*row, *groups])
with open(out / "clusters.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["quantity", "groups", "value"])
    writer.writerows((q, k, repr(float(v))) for q, k, v in values)
with open(out / "binomial.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["hits", "trials", "level", "low", "high"])
    for hits, trials, level in ((81, 263, 0.95), (15, 148, 0.95), (0, 20, 0.95), (29, 29, 0.9)):
        limits = binomtest(hits, trials).proportion_ci(level, method="exact")
        writer.writerow([hits, trials, level, repr(float(limits.low)), repr(float(limits.high))])
# P-values of the worked example of Benjamini and Hochberg (1995, section 3.2).
p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
     0.5719, 0.6528, 0.7590, 1.0000]
with open(out / "discoveries.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["p", "adjusted"])
    writer.writerows(zip(p, (repr(float(q)) for q in false_discovery_control(p))))
print("numpy", np.__version__, "scipy", scipy.__version__, "scikit-learn", sklearn.__version__)
