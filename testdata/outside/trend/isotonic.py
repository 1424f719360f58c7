"""Prints isotonic.tsv: weighted isotonic regressions by scikit-learn's IsotonicRegression.

Rows: order, weights, values, fit; numbers of a column apart by spaces. Ties and plateaus are among them.
"""

import numpy as np
from sklearn.isotonic import IsotonicRegression

rng = np.random.default_rng(6)
print("# order\tweights\tvalues\tfit")
for n in [1, 2, 3, 5, 8, 13, 40]:
    for order in ["rising", "falling"]:
        for kind in range(3):
            trend = np.arange(n) * (1 if order == "rising" else -1)
            y = np.round(trend * [0.0, 0.3, 1.0][kind] + rng.normal(size=n), 1 if kind == 2 else 3)
            w = np.round(rng.uniform(0.1, 4, size=n), 2)
            fit = IsotonicRegression(increasing=order == "rising").fit_transform(np.arange(n), y, sample_weight=w)
            print("\t".join([order] + [" ".join("%.10g" % v for v in column) for column in (w, y, fit)]))
