"""Reads a run's calendar and spreadsheet by independent programs and holds them against its CSV files.

Usage: readers.py REPORT. Needs icalendar (Debian: python3-icalendar) and LibreOffice Calc.
"""

import csv
import datetime as dt
import subprocess
import sys
import tempfile
from pathlib import Path

import icalendar

report = Path(sys.argv[1])


def rows(path):
    return list(csv.DictReader(open(path, newline="", encoding="utf-8-sig")))


plan = rows(report / "workplan.csv")
planned = sorted((r["block"], r["work_from"], r["work_to"]) for r in plan if r["work_from"])
calendar = icalendar.Calendar.from_ical((report / "calendar.ics").read_bytes())
events = [e for e in calendar.walk("VEVENT")]
dated = []
for event in events:
    begin, end = event["DTSTART"].dt, event["DTEND"].dt - dt.timedelta(days=1)
    block = next(r["block"] for r in plan if r["block"] in str(event["SUMMARY"]))
    dated.append((block, begin.isoformat(), end.isoformat()))
assert sorted(dated) == planned, (sorted(dated)[:3], planned[:3])
assert len({str(e["UID"]) for e in events}) == len(events)
print(f"{len(events)} events, dates as in workplan.csv, every UID once")

with tempfile.TemporaryDirectory() as folder:
    done = subprocess.run(
        ["soffice", "--headless", f"-env:UserInstallation=file://{folder}/profile", "--convert-to",
         "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1",
         "--outdir", folder, str((report / "workplan.xlsx").resolve())],
        capture_output=True, text=True, check=True,
    )
    said = [line for line in done.stderr.splitlines() if "javaldx" not in line and line.strip()]
    assert not said, said
    compared = 0
    sheets = {
        "workplan": "Work plan", "materials": "Materials by block", "shopping": "Shopping list",
        "tools": "Tools", "alarms": "Alarms", "missing": "Missing settings",
    }
    for name, title in sheets.items():
        sheet = rows(Path(folder) / f"workplan-{title}.csv")
        own = rows(report / f"{name}.csv")
        assert len(sheet) == len(own), (name, len(sheet), len(own))
        for a, b in zip(sheet, own):
            for x, y in zip(a.values(), b.values()):
                compared += 1
                try:
                    # The CSV files carry six digits, the workbook all of them.
                    same = abs(float(x) - float(y)) <= 5e-6 * max(1.0, abs(float(y)))
                except ValueError:
                    same = x == y or x.lstrip("'") == y.lstrip("'")
                assert same, (name, x, y)
    print(f"LibreOffice read the workbook without a warning; {compared} cells as in the CSV files")
