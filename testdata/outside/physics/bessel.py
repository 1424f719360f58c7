"""Prints bessel.tsv: the modified Bessel functions K0 and K1 as scipy (Amos' library, D. E. Amos, TOMS 644) has them.

Twelve digits are kept, so that the table is the same whatever machine makes it.
"""

from scipy import special

print("# x\tK0\tK1\tK0 exp(x)\tK1 exp(x)")
x = 1e-6
points = []
while x < 700:
    points.append(x)
    x *= 10 ** 0.125
points += [0.1, 1.0, 2.0, 10.0, 100.0, 700.0]
for x in sorted(set(float("%.6g" % x) for x in points)):
    values = special.k0(x), special.k1(x), special.k0e(x), special.k1e(x)
    print("%.6g\t" % x + "\t".join("%.11e" % v for v in values))
