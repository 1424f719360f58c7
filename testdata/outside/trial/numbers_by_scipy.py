"""Prints statistics.tsv: what scipy and numpy make of the samples and points beside this script.

Welch's test is scipy's. The chance of Mann and Whitney's U is counted by scipy.stats.permutation_test over every way to divide the values,
ties and all, up to 40 values where those are few enough to visit, and scipy's normal approximation beyond. Hedges' g and Cliff's delta are
written out from their definitions, pair by pair. A Wilson interval is found by root from the score equation and not by the formula. Fits
are numpy's polyfit; the interval of a turn comes from the covariance of the coefficients by numerical differentiation.
"""

import itertools
import math

import numpy as np
from scipy import optimize, stats


def rows(name):
    with open(name, encoding="utf-8") as f:
        for line in f:
            if not line.startswith("#"):
                yield line.rstrip("\n").split("\t")


def numbers(text):
    return np.array([float(v) for v in text.split()])


def out(*cells):
    print("\t".join(c if isinstance(c, str) else "%.12g" % c for c in cells))


def above(a, b):
    return sum(1.0 if y > x else 0.5 if y == x else 0.0 for x in a for y in b)


def counted(a, b):
    """The two-sided chance over all divisions, by visiting them; None where there are too many."""
    both, n = np.concatenate([a, b]), len(b)
    if math.comb(len(both), n) > 200_000:
        return None
    got = stats.permutation_test((a, b), lambda x, y: above(x, y), permutation_type="independent", n_resamples=np.inf, alternative="two-sided", vectorized=False)
    return got.pvalue


print("# welch\tname\tt\tdf\tp\tlow\thigh\tg")
print("# ranks\tname\tU\tp counted or -\tp approximated\tdelta")
for name, old, new, _ in rows("samples.tsv"):
    a, b = numbers(old), numbers(new)
    t = stats.ttest_ind(b, a, equal_var=False)
    va, vb = a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)
    df = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    half = stats.t.ppf(0.975, df) * math.sqrt(va + vb)
    d = b.mean() - a.mean()
    free = len(a) + len(b) - 2
    pooled = math.sqrt((a.var(ddof=1) * (len(a) - 1) + b.var(ddof=1) * (len(b) - 1)) / free)
    out("welch", name, t.statistic, df, t.pvalue, d - half, d + half, d / pooled * (1 - 3 / (4 * free - 1)))
    u = above(a, b)
    p = counted(a, b)
    approximated = stats.mannwhitneyu(b, a, alternative="two-sided", method="asymptotic", use_continuity=True)
    out("ranks", name, u, "-" if p is None else p, approximated.pvalue, 2 * u / (len(a) * len(b)) - 1)

print("# wilson\tgood\tof\tconfidence\tlow\thigh")
for n, confidence in itertools.product([1, 2, 3, 5, 8, 20, 100, 1000], [0.95, 0.99]):
    z = stats.norm.ppf((1 + confidence) / 2)
    for k in sorted({0, 1, n // 2, n - 1, n}):
        share = k / n

        def score(p):
            return (share - p) ** 2 * n - z * z * p * (1 - p)

        low = 0.0 if k == 0 else optimize.brentq(score, 1e-9, share - 1e-9 * (k == n), xtol=1e-15, rtol=1e-14)
        high = 1.0 if k == n else optimize.brentq(score, share + 1e-9 * (k == 0), 1 - 1e-9, xtol=1e-15, rtol=1e-14)
        out("wilson", str(k), str(n), confidence, low, high)

print("# t\tdf\tquantile of 0.975")
for df in [1, 1.5, 2, 3.7, 10, 15.53, 100]:
    out("t", df, stats.t.ppf(0.975, df))

print("# fit\tname\tdegree\tcoefficients of 1 x x2\ttheir deviations\tS\tR2\tp of the highest")
print("# at\tname\tdegree\tx\tmean\thalf width\tslope\thalf width")
print("# turn\tname\tx\thalf width")
for name, degree, xs, ys, _ in rows("points.tsv"):
    x, y, degree = numbers(xs), numbers(ys), int(degree)
    middle = x.mean()  # polyfit loses digits far from nought; the fit is moved back exactly
    scale = np.abs(x - middle).max()
    u = (x - middle) / scale
    design = np.vander(u, degree + 1, increasing=True)
    beta, residual, _, _ = np.linalg.lstsq(design, y, rcond=None)
    free = len(x) - degree - 1
    rest = y - design @ beta
    s2 = rest @ rest / free
    cov = np.linalg.inv(design.T @ design) * s2
    back = {1: np.array([[1, -middle / scale], [0, 1 / scale]]),
            2: np.array([[1, -middle / scale, middle**2 / scale**2], [0, 1 / scale, -2 * middle / scale**2], [0, 0, 1 / scale**2]])}[degree]
    coefficients, deviations = back @ beta, np.sqrt(np.diag(back @ cov @ back.T))
    check = np.polyfit(u, y, degree)[::-1]
    assert np.allclose(check, beta, rtol=1e-9, atol=1e-12)
    t = stats.t.ppf(0.975, free)
    p = 2 * stats.t.sf(abs(beta[-1]) / math.sqrt(cov[-1, -1]), free)
    pad = [0.0] * (2 - degree)
    out("fit", name, str(degree), *coefficients, *pad, *deviations, *pad, math.sqrt(s2), 1 - rest @ rest / ((y - y.mean()) @ (y - y.mean())), p)
    for at in [x.min(), x.mean(), x.min() + 0.7 * (x.max() - x.min())]:
        w = (at - middle) / scale
        row = np.array([w**k for k in range(degree + 1)])
        slope = np.array([k * w ** (k - 1) / scale if k else 0.0 for k in range(degree + 1)])
        out("at", name, str(degree), at, row @ beta, t * math.sqrt(row @ cov @ row), slope @ beta, t * math.sqrt(slope @ cov @ slope))
    if degree == 2:
        def turn(b):
            return middle - scale * b[1] / (2 * b[2])

        gradient = optimize.approx_fprime(beta, turn, 1e-7 * np.abs(beta).max())
        out("turn", name, turn(beta), t * math.sqrt(gradient @ cov @ gradient))
