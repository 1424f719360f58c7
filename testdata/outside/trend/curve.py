"""Prints curve.tsv: what a curve says of each of its points after the point was left out in fact, and of a point between.

The covariance is put together with the kernels of scikit-learn and each point is predicted by the GaussianProcessRegressor that was
given the others, with the line taken off first. Groups and kinds are two more dimensions of the input.

Rows: slope, slope's deviation, bend, reach, step, shift, noise; x; y; groups; kinds; predictions of the points left out; their
deviations; x, group and kind of a new point; its prediction; its deviation.
"""

import numpy as np
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Kernel, StationaryKernelMixin

LEVEL = 8.0


class Family(StationaryKernelMixin, Kernel):
    """The covariance as the documentation of the program states it, written once more."""

    def __init__(self, slope_sd, bend, reach, step, shift):
        self.slope_sd, self.bend, self.reach, self.step, self.shift = slope_sd, bend, reach, step, shift

    def __call__(self, a, b=None, eval_gradient=False):
        b = a if b is None else b
        dx = a[:, :1] - b[:, :1].T
        group, kind = a[:, 1:2] == b[:, 1:2].T, a[:, 2:] == b[:, 2:].T
        return (LEVEL**2 + self.slope_sd**2 * a[:, :1] * b[:, :1].T + self.bend**2 * np.exp(-0.5 * (dx / self.reach) ** 2)
                + self.step**2 * group + self.shift**2 * kind)

    def diag(self, a):
        return np.diag(self(a))


def predict(model, x, y, g, k, at, group, kind):
    slope, slope_sd, bend, reach, step, shift, noise = model
    gp = GaussianProcessRegressor(kernel=Family(slope_sd, bend, reach, step, shift), alpha=noise**2, optimizer=None)
    gp.fit(np.column_stack([x, g, k]), y - slope * x)
    mean, sd = gp.predict(np.array([[at, group, kind]]), return_std=True)
    return mean[0] + slope * at, np.sqrt(sd[0] ** 2 + noise**2)


rng = np.random.default_rng(8)
numbers = lambda column: " ".join("%.9g" % v for v in column)
short = lambda column: " ".join("%.6g" % v for v in column)  # as many as are the same on every machine
print("# model\tx\ty\tgroups\tkinds\tleft out\tdeviations\tnew x, group, kind\tprediction\tdeviation")
for n in [2, 3, 5, 9, 17]:
    for model in [(-1.2, 0.4, 0.15, 1.0, 0.05, 0.3, 0.05), (0.2, 0.3, 0.1, 0.7, 0.3, 0.0, 0.1), (0.5, 0.5, 0.0, 1.0, 0.0, 0.5, 0.03)]:
        t = np.sort(rng.choice(np.arange(1, 41), size=n, replace=False)) / 2
        x = np.round(np.log(t), 6)
        center = np.median(x)
        y = np.round(2 + (model[0] + 0.2) * x + 0.1 * np.sin(2 * x) + rng.normal(scale=model[6], size=n), 6)
        g, k = np.sort(rng.integers(0, 3, size=n)), rng.integers(0, 2, size=n)
        level = np.median(y - model[0] * (x - center))
        shown = lambda keep: (x[keep] - center, y[keep] - level, g[keep], k[keep])
        out = [predict(model, *shown(np.arange(n) != i), x[i] - center, g[i], k[i]) for i in range(n)]
        new, group, kind = round(float(rng.uniform(x[0], x[-1] + 0.5)), 6), int(rng.integers(0, 3)), int(rng.integers(0, 2))
        mean, sd = predict(model, *shown(np.arange(n) >= 0), new - center, group, kind)
        print("\t".join([numbers(model), numbers(x), numbers(y), numbers(g), numbers(k), short(m + level for m, _ in out), short(s for _, s in out),
                         numbers([new, group, kind]), short([mean + level]), short([sd])]))
