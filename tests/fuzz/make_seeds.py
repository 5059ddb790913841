"""Seeds for the fuzz targets: real exports of LibreOffice and pyarrow, and small hand-written files.

Usage: PYTHON with pyarrow, `soffice` on the path:  python make_seeds.py
Writes seeds/<target>/. Versions that wrote the committed seeds: seeds/VERSIONS.
"""

import datetime
import pathlib
import subprocess
import tempfile
import zipfile

import pyarrow as pa
import pyarrow.parquet as pq

HERE = pathlib.Path(__file__).parent
SEEDS = HERE / "seeds"
HARVESTS = """tree,date,nut_kg,moisture_pct
T1,2024-03-01,3.5,8
T2,2024-03-02,4.25,
T1,2024-02-29,"1,5",9.5
"""


def put(target, name, data):
    folder = SEEDS / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data if isinstance(data, bytes) else data.encode())


def converted(kind):
    """The small table opened and saved by LibreOffice."""
    with tempfile.TemporaryDirectory() as home:
        source = pathlib.Path(home, "harvests.csv")
        source.write_text(HARVESTS)
        command = ["soffice", f"-env:UserInstallation=file://{home}/profile", "--headless",
                   "--convert-to", kind, "--outdir", home, str(source)]
        subprocess.run(command, check=True, capture_output=True)
        return pathlib.Path(home, f"harvests.{kind}").read_bytes()


def part(workbook, name):
    with tempfile.TemporaryDirectory() as home:
        path = pathlib.Path(home, "workbook")
        path.write_bytes(workbook)
        return zipfile.ZipFile(path).read(name)


def parquet(name, columns, **options):
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table(columns), sink, **options)
    put("parquet", name, sink.getvalue().to_pybytes())


def parts(book):
    return "".join(f"%% {name}\n{text}" for name, text in book.items())


def main():
    xlsx, ods = converted("xlsx"), converted("ods")
    put("spreadsheet", "libreoffice.xlsx", b"\x02" + xlsx)
    put("spreadsheet", "libreoffice.ods", b"\x03" + ods)
    put("spreadsheet", "libreoffice-sheet.xml", b"\x00" + part(xlsx, "xl/worksheets/sheet1.xml"))
    put("spreadsheet", "libreoffice-content.xml", b"\x01" + part(ods, "content.xml"))
    inline = "".join(
        f'<row r="{n}"><c r="A{n}" t="inlineStr"><is><t>{a}</t></is></c>'
        f'<c r="B{n}" t="inlineStr"><is><t>{b}</t></is></c><c r="C{n}" t="{t}"><v>{c}</v></c></row>'
        for n, a, b, t, c in [(1, "tree", "date", "s", 2), (2, "T1", "2024-03-01", "n", 3.5),
                              (3, "T2", "45352", "e", "#DIV/0!"), (4, "T1", "2024-03-02", "b", 1)])
    put("spreadsheet", "inline.xml", f"\x00<worksheet><sheetData>{inline}</sheetData></worksheet>")

    trees = ["T1", "T2", "T1"]
    days = [datetime.date(2024, 3, d) for d in (1, 2, 3)]
    moments = [datetime.datetime(2024, 2, 29, 22, m) for m in (0, 30, 59)]
    weights = [3.5, 4.25, None]
    parquet("plain.parquet", {"tree": trees, "date": days, "nut_kg": weights})
    parquet("zoned.parquet", {
        "tree": pa.array(trees).dictionary_encode(),
        "date": pa.array(moments, pa.timestamp("ms", "Africa/Maputo")),
        "nut_kg": pa.array([350, 425, None], pa.int64()),
    }, compression="zstd")
    parquet("pages.parquet", {"tree": trees * 40, "date": ["2024-03-01"] * 120,
                              "nut_kg": [float(n) for n in range(120)]},
            compression="gzip", data_page_version="2.0", row_group_size=50, use_dictionary=False)

    for choice, name, text in [
        (4, "harvests", HARVESTS),
        (10, "comma", "tree;date;nut_kg\nT1;01/03/2024;3,5\nT2;2/3/24;1.234,5\n"),
        (16, "month", "tree\tdate\tnut_kg (g)\nT1\t03/01/2024\t3500\nT2\t45000\t12\n"),
        (0, "blocks", "title of a table\n\nblock,site,region,variety,planted\nB1,S1,coast,Á-7,2009\n"),
        (1, "trees", 'tree,block,girth_cm,status\n"T ""1""",B1,65,"a\nb"\nT2,B1,x,\n'),
        (2, "prunings", "tree,date,shoots_cut,shoots_total,tool,dressed\nT1,2023-07-01,20,80,saw,yes\n"),
        (3, "laterals", "tree,date,frame_m2,laterals,flowering_laterals,side\nT1,2024-01-05,0.5,12,3,N\n"),
        (24, "joined-blocks", "grove,row,no,region\nG1,R 1,1,coast\nG1,R-1,2.0,coast\n"),
        (28, "joined", "row,no,date,nut_kg\n1,1,2024-03-01,3.5\n1,,2024-03-02,4\n01,1.0,2024-03-03,2\n"),
        (30, "filled", "block,site,region\nB1,S1,coast\nB2,,\nTotal,,\nB3,S2,\n"),
        (38, "words", "tree,date,intensity\nT1,2023-07-01,Light\nT2,2023-07-01,HARD\nT1,2023-07-02,?\n"),
        (44, "times", "tree,date,intensity,minutes\nT1,2023-07-01,20,0:09\nT2,2023-07-01,30,9\n"),
        (46, "tins", "tree,date,nut_kg (tins)\nT1,2024-03-01,2\nT2,30/02/2024,1\n"),
        (52, "sums", "tree,date,nut_kg\n007,2024-03-01,3.5\n00,2024-03-02,1\nTotal of 1,,4.5\nwhy?,,\n"),
        (5, "trials", "trial,tree,replicate,level\nX,T1,1,low\nX,T2,1,high\n"),
    ]:
        put("text", name, bytes([choice]) + text.encode())
    put("text", "utf16", bytes([22]) + HARVESTS.encode("utf-16-le"))
    put("text", "latin1", bytes([4]) + "tree,date,nut_kg\nÁrbol,2024-03-01,3\n".encode("latin-1"))

    demo = HERE.parent.parent / "data-demo" / "book.toml"
    put("settings", "demo.toml", demo.read_bytes())
    small = (HERE / "src" / "folder.rs").read_text().split('r#"')[1].split('"#')[0]
    put("settings", "small.toml", small)

    rows = [(0, 0, 0, 0, 0), (1, 0, 0, 0, 0), (1, 1, 0, 0, 4), (2, 0, 2, 170, 20),
            (5, 0, 3, 60, 28), (5, 1, 3, 62, 30), (5, 0, 4, 60, 40), (4, 0, 0, 0, 0), (4, 1, 0, 0, 1)]
    put("linking", "rows", b"".join(bytes(row) for row in rows))

    book = {"book.toml": small,
            "blocks.csv": "block,site,region\nB1,S1,coast\n", "trees.csv": "tree,block\nT1,B1\nT2,B1\n",
            "prunings.csv": "tree,date,intensity,measured_as\nT1,2023-07-01,0.2,canopy_fraction\n",
            "laterals.csv": "tree,date,frame_m2,laterals\nT1,2024-01-05,0.5,12\n",
            "harvests.csv": HARVESTS, "trials.csv": "trial,tree,replicate\nX,T1,1\nX,T2,2\n"}
    put("check", "book", parts(book))
    joined = {"book.toml": small + "".join(
        f'\n[[files.{table}]]\npath = "{table}.csv"\njoined = {{ tree = ["line", "no"] }}\n'
        for table in ("trees", "prunings", "harvests")),
              "blocks.csv": book["blocks.csv"], "trees.csv": "line,no,block\nR1,1,B1\nR1,2,B1\n",
              "prunings.csv": "line,no,date,intensity,measured_as\nR1,1,2023-07-01,0.2,canopy_fraction\n",
              "harvests.csv": "line,no,date,nut_kg\nR1,1,2024-03-01,3.5\nR1,2,2024-03-02,4.25\n"}
    put("check", "joined", parts(joined))
    stated = {"book.toml": small + """
[[files.prunings]]
path = "prunings.csv"
values = { intensity = { light = 0.15, hard = "40 %" } }
units = { minutes = "h:mm" }
[[files.blocks]]
path = "blocks.csv"
fill_down = ["site", "region"]
""",
              "blocks.csv": "block,site,region\nB1,S1,coast\nB2,,\n", "trees.csv": book["trees.csv"],
              "prunings.csv": "tree,date,intensity,minutes\nT1,2023-07-01,light,0:09\n",
              "harvests.csv": HARVESTS}
    put("check", "stated", parts(stated))
    starred = {**book, "book.toml": small + """
[[files.harvests]]
path = "har*.csv"
not_rows = ["Total*"]
drop_zeros = ["tree"]
[[files.harvests]]
path = "harvests_*.tsv"
every_row = { date = "2024-03-0*" }
[[files.prunings]]
path = "prun*.csv"
""", "harvests_2.tsv": "tree\tnut_kg\nT2\t4\n"}
    put("check", "starred", parts(starred))

    office = subprocess.run(["soffice", "--version"], capture_output=True, text=True).stdout.split()
    (SEEDS / "VERSIONS").write_text(f"LibreOffice {office[1]}\npyarrow {pa.__version__}\n")


if __name__ == "__main__":
    main()
