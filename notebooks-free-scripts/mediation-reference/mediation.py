"""Reference values of mediation effects from statsmodels on published data.

usage: python mediation.py OUT_FOLDER

Data: framing experiment of Brader, Valentino and Suhat (2008), as shipped with
statsmodels for its own test of Mediation. Writes framing.csv (the columns used)
and values.csv with model,quantity,value at 17 significant digits.
"""

import os
import platform
import sys

import numpy as np
import pandas as pd
import statsmodels
import statsmodels.api as sm
from statsmodels.stats.mediation import Mediation

out = sys.argv[1]
source = os.path.join(os.path.dirname(statsmodels.__file__), "stats/tests/results/framing.csv")
data = pd.read_csv(source)
if data["gender"].dtype == object or str(data["gender"].dtype) in ("str", "string"):
    data["gender"] = (data["gender"] == "female").astype(float)
data["educ"] = pd.factorize(data["educ"], sort=True)[0].astype(float)
columns = ["treat", "emo", "age", "educ", "gender", "income", "immigr", "p_harm"]
data = data[columns].apply(pd.to_numeric).dropna().reset_index(drop=True)
data.to_csv(os.path.join(out, "framing.csv"), index=False)

rows = []


def put(model, quantity, value):
    rows.append((model, quantity, repr(float(value))))


covariates = ["age", "educ", "gender", "income"]


def run(name, response, family):
    mediator_x = sm.add_constant(data[["treat"] + covariates])
    outcome_x = sm.add_constant(data[["treat", "emo"] + covariates])
    mediator = sm.OLS(data["emo"], mediator_x)
    if family is None:
        outcome = sm.OLS(data[response], outcome_x)
    else:
        outcome = sm.GLM(data[response], outcome_x, family=family)
    mediator_fit, outcome_fit = mediator.fit(), outcome.fit()
    for model, fit in (("mediator", mediator_fit), ("outcome", outcome_fit)):
        for term in fit.params.index:
            put(name, f"{model}.{term}", fit.params[term])
            put(name, f"{model}.{term}.std_error", fit.bse[term])
    put(name, "outcome.covariance.treat.emo", outcome_fit.cov_params().loc["treat", "emo"])
    np.random.seed(20260101)
    result = Mediation(
        outcome, mediator,
        (outcome_x.columns.get_loc("treat"), mediator_x.columns.get_loc("treat")),
        outcome_x.columns.get_loc("emo"),
    ).fit(n_rep=20000, method="parametric")
    print(name)
    print(result.summary(alpha=0.05).to_string())
    for quantity, draws in (
        ("acme", result.ACME_avg), ("ade", result.ADE_avg), ("total", result.total_effect),
    ):
        put(name, f"{quantity}.mean", np.mean(draws))
        put(name, f"{quantity}.median", np.median(draws))
        put(name, f"{quantity}.low", np.quantile(draws, 0.025))
        put(name, f"{quantity}.high", np.quantile(draws, 0.975))
        put(name, f"{quantity}.sd", np.std(draws))


run("linear", "immigr", None)
run("log", "p_harm", sm.families.Poisson())
pd.DataFrame(rows, columns=["model", "quantity", "value"]).to_csv(
    os.path.join(out, "values.csv"), index=False)
with open(os.path.join(out, "session.txt"), "w") as file:
    file.write(f"Python {platform.python_version()}\n")
    for package in (statsmodels, np, pd):
        file.write(f"{package.__name__} {package.__version__}\n")
