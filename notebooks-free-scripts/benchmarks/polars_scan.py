"""Polars scanning the columns of the stream benchmark: python polars_scan.py FILE (sums each column once)."""
import datetime, sys, time
import polars as pl

names = ["y", "x0", "x1", "x2", "x3", "tree", "block", "cell", "region"]
print(datetime.date.today(), "polars", pl.__version__, "threads", pl.thread_pool_size())
for _ in range(3):
    start = time.perf_counter()
    out = pl.scan_parquet(sys.argv[1]).select([pl.col(n).sum() for n in names] + [pl.len()]).collect()
    took = time.perf_counter() - start
    print(f"{out['len'][0]} rows scanned in {took:.2f} s, {out['len'][0] / took / 1e6:.2f} million rows per second")
for _ in range(2):
    start = time.perf_counter()
    out = pl.scan_parquet(sys.argv[1]).group_by("tree").agg([pl.col(n).sum() for n in names[:5]]).collect()
    took = time.perf_counter() - start
    print(f"grouped by tree in {took:.2f} s")
