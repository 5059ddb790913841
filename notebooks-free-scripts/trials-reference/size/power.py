"""Power of two samples and of one-way analysis by statsmodels, another road than R's."""
import json, math, sys
import scipy, statsmodels
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower

out = sys.argv[1]
print("scipy", scipy.__version__, "statsmodels", statsmodels.__version__)
t = [dict(replicates=r, difference=d, alpha=a,
          power=TTestIndPower().power(effect_size=d, nobs1=r, alpha=a))
     for r in (3, 6, 15) for d in (0.4, 1.2) for a in (0.05, 0.1)]
f = []
for k in (3, 5, 9):
    for r in (2, 5, 12):
        means = [i * 0.4 for i in range(k)]
        centre = sum(means) / k
        size = math.sqrt(sum((m - centre) ** 2 for m in means) / k)
        power = FTestAnovaPower().power(effect_size=size, nobs=k * r, alpha=0.05, k_groups=k)
        f.append(dict(treatments=k, replicates=r, means=means, power=float(power)))
source = f"statsmodels {statsmodels.__version__}, scipy {scipy.__version__}"
with open(f"{out}/power_python.json", "w") as file:
    json.dump(dict(source=source, t_test=t, anova=f), file, indent=1)
    file.write("\n")
