"""Prints line_source.tsv: how wide the melting isotherm of a moving line source is.

In units of its own: T = P/(2 pi k t dT) is the strength, X = v x / (2 kappa) and Y = v y / (2 kappa) are the places, and on the isotherm
    T exp(-X) K0(sqrt(X^2 + Y^2)) = 1.
For each X scipy's brentq finds Y, and scipy's minimize_scalar the X where Y is largest: no formula for the widest place is used.
The second column is v w / kappa = 4 Y, the third that number over 2 pi T, which the high-speed limit says is 0.4839.
"""

import numpy as np
from scipy import optimize, special


def height(x, log_t):
    """Y of the isotherm at X, or 0 where it does not reach that far."""

    def f(y):
        r = np.hypot(x, y)
        return log_t - x - r + np.log(special.k0e(r))

    low = 1e-12 * max(1.0, abs(x))
    if f(low) <= 0:
        return 0.0
    high = 1.0
    while f(high) > 0:
        high *= 2
    return optimize.brentq(f, low, high, xtol=1e-15, rtol=1e-14)


print("# T\tv w / kappa\tv w / (2 pi T kappa)")
for t in [0.2, 0.3, 0.5, 0.75, 1, 1.5, 2, 3, 5, 7.5, 10, 15, 20, 30, 50, 100, 200]:
    log_t = np.log(t)
    # The widest place lies behind the source. A coarse look first, so that the search starts in the right valley.
    back = -np.geomspace(1e-6, 10 * t * t + 10, 4000)
    best = int(np.argmax([height(x, log_t) for x in back]))
    low, high = back[min(best + 1, len(back) - 1)], back[max(best - 1, 0)]
    found = optimize.minimize_scalar(lambda x: -height(x, log_t), bounds=(low, high), method="bounded", options={"xatol": 1e-10 * abs(low)})
    y = -found.fun
    print("%g\t%.7e\t%.7e" % (t, 4 * y, 4 * y / (2 * np.pi * t)))
