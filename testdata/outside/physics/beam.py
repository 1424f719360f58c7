"""Prints beam.tsv: beam diameters by the complex q of an embedded Gaussian beam, and the share that a round hole stops, integrated.

A beam of product B and waist diameter d is M times as wide as a Gaussian beam of the same Rayleigh length. q is carried with
ray matrices, not with the hyperbola that the program uses. The stopped share is scipy's integral of the profile outside the hole.
"""

import numpy as np
from scipy import integrate

WAVELENGTH = 1.07e-6

print("# waist m\tproduct m rad\tdistance m\tdiameter m")
for waist in [0.05e-3, 0.1e-3, 0.2e-3, 0.6e-3]:
    for product in [0.3405915782e-6, 1e-6, 3.5e-6, 8e-6]:
        m2 = product * np.pi / WAVELENGTH
        embedded = waist / 2 / np.sqrt(m2)
        for distance in [0.0, 0.5e-3, 2e-3, -6e-3, 25e-3]:
            q = 1j * np.pi * embedded**2 / WAVELENGTH
            a, b, c, d = 1.0, distance, 0.0, 1.0
            q = (a * q + b) / (c * q + d)
            radius = np.sqrt(-WAVELENGTH / (np.pi * (1 / q).imag)) * np.sqrt(m2)
            print("%.10g\t%.10g\t%g\t%.10e" % (waist, product, distance, 2 * radius))
print("# clip\thole / beam diameter\tshare")
for s in [0.1, 0.5, 0.8, 1.0, 1.25, 1.5, 2.0]:
    share, _ = integrate.quad(lambda r: 4 * r * np.exp(-2 * r * r), s, np.inf, epsabs=0, epsrel=1e-12)
    print("clip\t%g\t%.10e" % (s, share))
