"""Prints lines.tsv: Theil-Sen and repeated medians by scipy.stats.theilslopes and siegelslopes, Kendall's exact chance by kendalltau,
normal quantiles by scipy.stats.norm.

Rows of lines: line, x, y, Theil-Sen slope and level, repeated medians slope and level.
Rows of orders: order, values, tau's sign, chance. scipy is exact without ties only, so there are none.
Rows of long orders: the same, of so many values that the program takes the normal law for them.
Rows of bounds: beyond, chance outside on both sides, standard deviations.
"""

import numpy as np
from scipy import stats

rng = np.random.default_rng(7)
numbers = lambda column: " ".join("%.12g" % v for v in column)
print("# what\tx or values\ty or sign\tresults")
for n in [2, 3, 4, 5, 8, 12, 40]:
    for outliers in [0, 1, n // 4]:
        x = np.log(np.sort(rng.choice(np.arange(1, 60), size=n, replace=False)) / 2)
        x = np.round(x, 6)
        y = np.round(2 - 1.2 * x + rng.normal(scale=0.05, size=n), 6)
        y[rng.choice(n, size=outliers, replace=False)] += 2.674
        ts = stats.theilslopes(y, x)
        rm = stats.siegelslopes(y, x)
        print("line\t%s\t%s\t%.10e %.10e %.10e %.10e" % (numbers(x), numbers(y), ts[0], ts[1], rm[0], rm[1]))
for n in [2, 3, 4, 5, 6, 9, 15, 30]:
    for lean in [0.0, 0.2, 1.0]:
        y = np.round(np.arange(n) * lean * rng.choice([-1, 1]) + rng.normal(size=n), 4)
        tau, p = stats.kendalltau(np.arange(n), y, method="exact")
        print("order\t%s\t%d\t%.10e" % (numbers(y), np.sign(tau), p))
for n in [80, 120]:
    for lean in [0.0, 0.002, 0.005]:
        y = np.round(np.arange(n) * lean + rng.normal(size=n), 6)
        tau, p = stats.kendalltau(np.arange(n), y, method="exact")
        print("long\t%s\t%d\t%.10e" % (numbers(y), np.sign(tau), p))
for p in [0.5, 0.1, 0.05, 0.01, 1e-3, 1e-4, 1e-5, 1e-6]:
    print("beyond\t%g\t\t%.10e" % (p, stats.norm.isf(p / 2)))
