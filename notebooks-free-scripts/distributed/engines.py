"""The queries of `anacurve sql`, unchanged, through query engines, and the fits of their sums.

    engines.py PROGRAM BOOK [ENGINE ...]

ENGINE is sqlite, duckdb or spark; all three when none is named. The linked table of the book is cut
into Parquet files by region and, within it, by thousands of its rows; every engine reads those files, runs
rows.sql and moments.sql as they are, and writes the sums. `anacurve fit-moments` fits them, and each
number is compared with the fit of the rows themselves (local.json).
"""

import csv
import json
import pathlib
import subprocess
import sys
import tempfile
import time

import pyarrow as pa
import pyarrow.parquet as pq

LIMIT = 1e-10
ROWS_PER_FILE = 1000


def cut(table, folder):
    """Partitions as files; returns their number."""
    count = 0
    for region in sorted(set(table["region"].to_pylist())):
        own = table.filter(pa.compute.equal(table["region"], region))
        for first in range(0, own.num_rows, ROWS_PER_FILE):
            # Trees go across files: an engine must bring their rows together.
            pq.write_table(own.slice(first, ROWS_PER_FILE), folder / f"part-{count:03}.parquet")
            count += 1
    return count


def text_columns(table):
    """Dates and the like are of no use here, and not every engine has them."""
    keep = [field.name for field in table.schema if not pa.types.is_date(field.type)]
    return table.select(keep)


def through_sqlite(parts, queries, out):
    import sqlite3

    table = text_columns(pq.read_table(parts))
    base = sqlite3.connect(":memory:")
    columns = ", ".join(f'"{name}"' for name in table.column_names)
    base.execute(f"CREATE TABLE tree_seasons ({columns})")
    marks = ", ".join("?" * len(table.column_names))
    base.executemany(
        f"INSERT INTO tree_seasons VALUES ({marks})", zip(*(c.to_pylist() for c in table.columns))
    )
    base.execute("CREATE TABLE model_rows AS " + queries["rows.sql"])
    cursor = base.execute(queries["moments.sql"])
    with open(out / "sums.csv", "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([column[0] for column in cursor.description])
        writer.writerows(cursor)
    return f"SQLite {sqlite3.sqlite_version}, CSV"


def through_duckdb(parts, queries, out):
    import duckdb

    base = duckdb.connect()
    base.execute(f"CREATE VIEW tree_seasons AS SELECT * FROM read_parquet('{parts}/*.parquet')")
    base.execute("CREATE TABLE model_rows AS " + queries["rows.sql"])
    base.execute("CREATE TABLE sums AS " + queries["moments.sql"])
    base.execute(f"COPY sums TO '{out}/sums.parquet' (FORMAT parquet)")
    return f"DuckDB {duckdb.__version__}, Parquet"


def through_spark(parts, queries, out):
    from pyspark.sql import SparkSession

    session = (
        # Two worker processes beside the driver, each with one core and 1 GB.
        SparkSession.builder.master("local-cluster[2,1,1024]")
        .config("spark.executor.memory", "1g")
        .config("spark.ui.enabled", "false")
        .config("spark.sql.shuffle.partitions", "8")
        .getOrCreate()
    )
    session.sparkContext.setLogLevel("ERROR")
    session.read.parquet(str(parts)).createOrReplaceTempView("tree_seasons")
    session.sql(queries["rows.sql"]).write.parquet(str(out / "rows"))
    rows = session.read.parquet(str(out / "rows"))
    rows.createOrReplaceTempView("model_rows")
    sums = session.sql(queries["moments.sql"])
    sums.write.parquet(str(out / "sums.parquet"))
    hosts = session.sparkContext._jsc.sc().getExecutorMemoryStatus().size() - 1
    note = f"Spark {session.version}, {hosts} worker processes, Parquet in parts"
    session.stop()
    return note


ENGINES = {"sqlite": through_sqlite, "duckdb": through_duckdb, "spark": through_spark}


def numbers(fit):
    """Name, value and size to compare with."""
    yield "criterion", fit["criterion"], abs(fit["criterion"])
    yield "sigma", fit["sigma"], fit["sigma"]
    for line in fit["theta"]:
        yield "theta", line["value"], max(abs(line["value"]), 1.0)
    errors = [line["std_error"] for line in fit["coefficients"]]
    for line in fit["coefficients"]:
        yield "coefficients", line["estimate"], max(abs(line["estimate"]), line["std_error"])
    for i, row in enumerate(fit["covariance"]):
        for j, value in enumerate(row):
            yield "covariance", value, errors[i] * errors[j]
    for _, _, value in fit["regional"]:
        yield "regional", value, 1.0


def compare(local, found):
    """Largest difference of each kind, relative to the size."""
    worst = {}
    for (kind, a, size), (_, b, _) in zip(numbers(local), numbers(found), strict=True):
        worst[kind] = max(worst.get(kind, 0.0), abs(a - b) / size)
    return worst


def main():
    program, book, *names = sys.argv[1:]
    failed = False
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        # Findings of the book's own are no failure here.
        subprocess.run([program, "check", book, "--out", folder / "linked"], stdout=subprocess.DEVNULL)
        run = [program, "sql", book, "--out", folder / "sql"]
        print(subprocess.run(run, check=True, capture_output=True, text=True).stdout.split("\n")[0])
        queries = {name: (folder / "sql" / name).read_text() for name in ("rows.sql", "moments.sql")}
        local = json.loads((folder / "sql" / "local.json").read_text())
        (folder / "parts").mkdir()
        table = pq.read_table(folder / "linked" / "tree_seasons.parquet")
        print(f"{table.num_rows} linked tree-seasons in {cut(table, folder / 'parts')} files")
        for name in names or ENGINES:
            out = folder / name
            out.mkdir()
            started = time.monotonic()
            note = ENGINES[name](folder / "parts", queries, out)
            seconds = time.monotonic() - started
            (sums,) = out.glob("sums.*")
            fit = [program, "fit-moments", sums, "--design", folder / "sql" / "design.json"]
            answer = subprocess.run([*fit, "--format", "json"], capture_output=True, text=True)
            if answer.returncode > 1:
                print(f"{note}: {answer.stderr}")
                failed = True
                continue
            worst = compare(local, json.loads(answer.stdout))
            bad = [kind for kind, x in worst.items() if not x <= LIMIT]
            failed |= bool(bad)
            print(f"{note}, {seconds:.1f} s")
            print("  " + ", ".join(f"{kind} {x:.1e}" for kind, x in worst.items()))
            print(f"  {'beyond ' + str(LIMIT) + ': ' + ', '.join(bad) if bad else 'equal to ' + str(LIMIT)}")
    sys.exit(1 if failed else 0)


main()
