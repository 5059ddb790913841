"""statsmodels on the columns that `panel TREES FOLDER` wrote, random tree alone, by maximum likelihood: python statsmodels_tree.py FOLDER ROWS"""
import datetime, sys, time
import numpy as np
import statsmodels, statsmodels.api as sm

folder, n = sys.argv[1], int(sys.argv[2])
real = lambda name: np.fromfile(f"{folder}/{name}", dtype="<f8", count=n)
y = real("y.f64")
x = np.column_stack([real(f"x{j}.f64") for j in range(12)])
tree = np.fromfile(f"{folder}/tree.u32", dtype="<u4", count=n)
print(datetime.date.today(), "statsmodels", statsmodels.__version__, "numpy", np.__version__)
start, cpu = time.perf_counter(), time.process_time()
fit = sm.MixedLM(y, x, groups=tree).fit(reml=False)
print(f"{n} rows: {time.perf_counter() - start:.2f} s, {time.process_time() - cpu:.2f} s of CPU, converged {fit.converged}")
print(f"-2 log likelihood {-2 * fit.llf:.6f}, theta {np.sqrt(fit.cov_re[0, 0] / fit.scale):.8f}")
