"""Prints heat.tsv: heat to melt metals and heat ratios of gases, from NASA's polynomials.

The coefficients are those of B. J. McBride, S. Gordon and M. A. Reno, "Coefficients for Calculating Thermodynamic and Transport Properties
of Individual Species", NASA TM-4513, 1993. They give H/(R T) = a1 + a2 T/2 + a3 T^2/3 + a4 T^3/4 + a5 T^4/5 + a6/T, where H is nought
for an element at 298.15 K, and cp/R = a1 + a2 T + a3 T^2 + a4 T^3 + a5 T^4. The iron there is JANAF's of March 1978.
"""

R = 8.314462618

# name: (molar mass kg/mol, melting point K, solid at the melting point, liquid)
METALS = {
    "iron": (55.845e-3, 1809.0, [-435.904698, 0.768489448, -4.46898892e-04, 8.67070913e-08, 0.0, 1.87925534e05],
             [5.53538332, 0, 0, 0, 0, -1274.28941]),
    "aluminium": (26.9815e-3, 933.61, [1.01040191, 0.0120769743, -2.62083556e-05, 2.64282413e-08, -9.01916513e-12, -654.454196],
                  [3.81862551, 0, 0, 0, 0, -94.9651808]),
    "copper": (63.546e-3, 1358.0, [3.4200891, -1.61201394e-03, 3.05145917e-06, -2.11162788e-09, 6.99858397e-13, -990.295636],
               [3.94491076, 0, 0, 0, 0, -210.634669]),
    "magnesium": (24.305e-3, 923.0, [1.47884944, 9.27430526e-03, -1.95050788e-05, 1.98215527e-08, -7.04927374e-12, -716.649299],
                  [4.12531827, 0, 0, 0, 0, -658.934341]),
    "titanium": (47.867e-3, 1944.0, [4.55050938, -5.78446834e-03, 6.58428776e-06, -2.60523484e-09, 4.06930218e-13, -186.695724],
                 [5.62871414, 0, 0, 0, 0, -2375.09598]),
}

# At 298.15 K: molar mass kg/mol, coefficients of cp.
GASES = {
    "oxygen": (31.998e-3, [3.78245636, -2.99673415e-03, 9.847302e-06, -9.68129508e-09, 3.24372836e-12]),
    "nitrogen": (28.014e-3, [3.53100528, -1.23660987e-04, -5.02999437e-07, 2.43530612e-09, -1.40881235e-12]),
    "argon": (39.95e-3, [2.5, 0, 0, 0, 0]),
    "helium": (4.0026e-3, [2.5, 0, 0, 0, 0]),
    "hydrogen": (2.016e-3, [2.34433112, 7.98052075e-03, -1.9478151e-05, 2.01572094e-08, -7.37611761e-12]),
    "carbon-dioxide": (44.009e-3, [2.35677352, 8.98459677e-03, -7.12356269e-06, 2.45919022e-09, -1.43699548e-13]),
}

# Solid oxides at 298.15 K: coefficients of H, metal and oxygen atoms, molar mass of the metal.
OXIDES = {
    "FeO": ([5.3195475, 2.2096591e-03, 1.0721775e-06, -2.7929729e-09, 1.3320733e-12, -3.4407165e04], 1, 1, 55.845e-3),
    "Cr2O3": ([29.332773, -0.10207385, 2.3601103e-04, -2.2578019e-07, 7.7799289e-11, -1.4240406e05], 2, 3, 51.9961e-3),
    "Cu2O": ([3.3832466, 0.022954176, -3.9542304e-05, 3.4020401e-08, -1.1043809e-11, -2.2273157e04], 2, 1, 63.546e-3),
    "MgO": ([-0.45403953, 0.027873269, -4.9062247e-05, 4.0474151e-08, -1.2670344e-11, -7.3057948e04], 1, 1, 24.305e-3),
    "TiO2": ([-0.16117517, 0.03796666, -6.515475e-05, 5.2552136e-08, -1.6200051e-11, -1.1478897e05], 1, 2, 47.867e-3),
    "Al2O3": ([-4.9138309, 0.079398443, -1.3237918e-04, 1.044675e-07, -3.156633e-11, -2.0262622e05], 2, 3, 26.9815e-3),
}


def enthalpy(a, t):
    return R * (sum(a[i] * t ** (i + 1) / (i + 1) for i in range(5)) + a[5])


print("# melt\tmetal\tmelting point K\tto the melting point J/kg\tfusion J/kg")
for name, (mass, t, solid, liquid) in METALS.items():
    warm = enthalpy(solid, t)
    print("melt\t%s\t%g\t%.4e\t%.4e" % (name, t, warm / mass, (enthalpy(liquid, t) - warm) / mass))
print("# gas\tname\tmolar mass kg/mol\theat ratio at 298.15 K")
for name, (mass, a) in GASES.items():
    cp = sum(a[i] * 298.15**i for i in range(5))
    print("gas\t%s\t%.7g\t%.6f" % (name, mass, cp / (cp - 1)))
print("# oxide\tformula\theat J per kg oxygen\toxygen kg per kg metal")
for name, (a, metal, oxygen, mass) in OXIDES.items():
    o = oxygen * 15.999e-3
    print("oxide\t%s\t%.4e\t%.5f" % (name, -enthalpy(a, 298.15) / o, o / (metal * mass)))
