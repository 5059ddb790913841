"""Checks the report folder of the demo: every file is there, verdicts agree with the written truth."""

import json
import re
import sys
from pathlib import Path

folder, truth_path = Path(sys.argv[1]), Path(sys.argv[2])
needed = """index.html dictionary.html advice.json advice.csv advice.parquet crew_sheets.html workplan.csv
workplan.xlsx materials.csv shopping.csv tools.csv alarms.csv missing.csv calendar.ics fit.json draws.arrow tree_seasons.parquet quarantine.csv""".split()
missing = [name for name in needed if not (folder / name).is_file() or (folder / name).stat().st_size == 0]
assert not missing, f"missing or empty: {missing}"
assert len(list((folder / "plots").glob("*.svg"))) >= 20, "too few plots"

advice = json.loads((folder / "advice.json").read_text())
truth = {region["region"]: region for region in json.loads(truth_path.read_text())["regions"]}
assert {r["region"] for r in advice["regions"]} == set(truth), "regions differ from the truth"
for region in advice["regions"]:
    expected = truth[region["region"]]
    assert region["verdict"] == expected["verdict"], f"{region['region']}: {region['verdict']}"
    if region["verdict"] == "prune":
        low, high = region["band"]
        optimum = expected["net_optimum"]["intensity"]
        assert low <= optimum <= high, f"{region['region']}: {optimum} outside {low} to {high}"

# The first season of the what-if is the season of the advice: the middle of its gains is the
# advice's median gain over present practice (quantiles are kept to a tenth of a
# gram, the median to six digits).
page = (folder / "index.html").read_text()
asked = re.search(r'id="what-if-data">(.*?)</script>', page, re.DOTALL)
assert asked, "the page holds no what-if"
for region in (entry["what_if"] for entry in json.loads(asked[1])):
    stated = next(r for r in advice["regions"] if r["region"] == region["region"])
    middle = region["seasons"][0]["gain_quantiles_kg"][50]
    median = stated["gain_over_present_kg"]["median"]
    assert abs(middle - median) <= 6e-5, f"{region['region']}: {middle} and {median} kg"
print(f"{len(advice['regions'])} regions agree with the written truth")
