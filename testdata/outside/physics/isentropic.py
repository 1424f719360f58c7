"""Prints isentropic.tsv: the flow of a perfect gas without loss, from the balance of energy and the law of the adiabat only.

Speed from the energy, u^2 = 2 cp (T0 - T); density from the gas law; the throat is where density times speed is largest, found
with scipy. No formula for A/A*, for the critical ratio or for the Mach number of a pressure is used.
"""

import numpy as np
from scipy import optimize


def state(r, g):
    """Mach number, T/T0, density ratio and mass flux (p0 = R T0 = 1) at p/p0 = r."""
    t = r ** ((g - 1) / g)
    cp = g / (g - 1)
    u = np.sqrt(2 * cp * (1 - t))
    return u / np.sqrt(g * t), t, r / t, r / t * u


print("# gamma\tp/p0\tMach\tT/T0\tA/A*\tflux sqrt(R T0)/p0\tcritical p/p0")
for g in [1.289, 1.395, 1.4, 1.405, 5 / 3]:
    throat = optimize.minimize_scalar(lambda r: -state(r, g)[3], bounds=(0.2, 0.9), method="bounded", options={"xatol": 1e-14})
    # The flux is flat at the throat, so the place is taken from where the Mach number is one.
    critical = optimize.brentq(lambda r: state(r, g)[0] - 1, 0.2, 0.9, xtol=1e-15, rtol=1e-14)
    assert abs(throat.x - critical) < 1e-6
    for r in [0.999, 0.99, 0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1278, 0.1, 0.05, 0.02, 0.01]:
        mach, t, _, flux = state(r, g)
        print("%.12g\t%g\t%.10e\t%.10e\t%.10e\t%.10e\t%.10e" % (g, r, mach, t, state(critical, g)[3] / flux, flux, critical))
