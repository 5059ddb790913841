"""A block trial of amounts that lost trees: components and curve of its adjusted means.

Simulates the trial with a fixed seed (truth below) and computes, with numpy and scipy alone, REML
over the ratio of the variances of plots and trees, the adjusted means by generalised least squares
with blocks fixed, and from them the orthogonal polynomial contrasts with equal weights and the
least-squares quadratic. Beside them stand the contrasts that weigh each mean by its trees, which the
program must not give.

Usage: lost_trees.py FOLDER
"""

import json
import sys

import numpy as np
from scipy.optimize import minimize_scalar

AMOUNTS = np.array([0.0, 0.15, 0.30, 0.45, 0.60])
BLOCKS, TREES = 4, 4
SD_PLOT, SD_TREE = 0.45, 0.9


def simulate():
    rng = np.random.default_rng(20261129)
    rows = []
    for block in range(BLOCKS):
        shift = 0.4 * rng.standard_normal()
        for level, amount in enumerate(AMOUNTS):
            plot = SD_PLOT * rng.standard_normal()
            for tree in range(TREES):
                truth = 5.6 + 6.5 * amount - 9.8 * amount**2 + shift + plot
                value = truth + SD_TREE * rng.standard_normal()
                # The hardest cut lost half its trees, one plot of the control three of four.
                lost = (level == 4 and tree >= 2) or (block == 1 and level == 0 and tree >= 1)
                if not lost:
                    rows.append((f"R{block + 1}", amount, f"{block + 1}-{level + 1}-{tree + 1}", round(value, 3)))
    return rows


def reml(rows):
    """Adjusted means at the REML estimates."""
    blocks = sorted({r[0] for r in rows})
    y = np.array([r[3] for r in rows])
    block = np.array([blocks.index(r[0]) for r in rows])
    level = np.array([list(AMOUNTS).index(r[1]) for r in rows])
    plot = block * len(AMOUNTS) + level
    x = np.column_stack([np.eye(len(AMOUNTS))[level], np.eye(len(blocks))[block][:, 1:]])
    z = np.eye(len(blocks) * len(AMOUNTS))[plot]
    n, p = x.shape

    def fit(ratio):
        v = np.eye(n) + ratio * z @ z.T
        vi = np.linalg.inv(v)
        a = x.T @ vi @ x
        beta = np.linalg.solve(a, x.T @ vi @ y)
        rest = y - x @ beta
        s2 = rest @ vi @ rest / (n - p)
        deviance = np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1] + (n - p) * np.log(s2)
        return deviance, beta, s2

    found = minimize_scalar(lambda t: fit(np.exp(t))[0], bounds=(-8, 4), method="bounded", options={"xatol": 1e-12})
    ratio = np.exp(found.x)
    _, beta, s2 = fit(ratio)
    means = beta[: len(AMOUNTS)] + np.append(0.0, beta[len(AMOUNTS) :]).mean()
    trees = np.bincount(level)
    return ratio * s2, s2, means, trees


def answer(means, weights):
    """Slope of the straight line, curvature and maximum of the quadratic, by weighted least squares."""
    w = np.sqrt(weights)
    fit = lambda degree: np.linalg.lstsq(w[:, None] * np.vander(AMOUNTS, degree + 1), w * means, rcond=None)[0]
    b2, b1, b0 = fit(2)
    return {"linear": fit(1)[0], "quadratic": b2, "coefficients": [b0, b1, b2], "maximum": -b1 / (2 * b2)}


def main(folder):
    rows = simulate()
    with open(f"{folder}/lost_trees.csv", "w") as out:
        out.write("replicate,cut,tree,y\n")
        out.writelines(f"{b},{a},{t},{v}\n" for b, a, t, v in rows)
    plots, trees, means, counts = reml(rows)
    found = {
        "plots": plots,
        "trees": trees,
        "means": list(means),
        "equal": answer(means, np.ones(len(means))),
        "by_trees": answer(means, counts.astype(float)),
    }
    with open(f"{folder}/lost_trees.json", "w") as out:
        json.dump(found, out, indent=1)
        out.write("\n")


main(sys.argv[1])
