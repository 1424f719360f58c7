package physics

// Sources that several constants share.
const (
	nasa       = "NASA TM-4513 (McBride, Gordon, Reno 1993)"
	handbook   = "CRC Handbook of Chemistry and Physics (from memory)"
	absorbs    = "measured absorptances at 1.06 µm, and Fresnel absorption at glancing angles as in A. Mahrle and E. Beyer, J. Phys. D 42 (2009) 175507 (from memory)"
	steelOxide = "FeO −272.0 kJ/mol: NIST-JANAF tables"
)

// materials are the known ones. Where an alloy is meant, the spread covers the usual grades.
var materials = [...]Material{
	{
		Name:         "carbon-steel",
		Density:      Constant{7850, 0.01, "EN 1993-1-1, 3.2.6 (from memory)"},
		Melting:      Constant{1800, 0.01, "iron 1809 K, " + nasa + "; liquidus of structural steel about 1790 K"},
		Heat:         Constant{1.054e6, 0.04, "iron, " + nasa},
		Fusion:       Constant{0.247e6, 0.05, "iron, " + nasa},
		Conductivity: Constant{34, 0.35, "EN 1993-1-2, 3.4.1.3: 53 at 20 °C, 27 from 800 °C (from memory)"},
		Absorptivity: Band{0.35, 0.80, absorbs},
		Reflectance:  Absorbing,
		Oxide:        Oxide{"FeO", 17.00e6, 0.2865, steelOxide},
	},
	{
		Name:         "galvanized-steel",
		Density:      Constant{7850, 0.01, "as carbon steel: a coat of zinc of 20 µm does not count"},
		Melting:      Constant{1800, 0.01, "as carbon steel"},
		Heat:         Constant{1.054e6, 0.04, "as carbon steel"},
		Fusion:       Constant{0.247e6, 0.05, "as carbon steel"},
		Conductivity: Constant{34, 0.35, "as carbon steel"},
		Absorptivity: Band{0.30, 0.80, absorbs},
		Reflectance:  Absorbing,
		Oxide:        Oxide{"FeO", 17.00e6, 0.2865, steelOxide},
	},
	{
		Name:         "stainless-steel",
		Density:      Constant{7900, 0.02, "EN 10088-1, 1.4301 (7700 for ferritic 1.4016) (from memory)"},
		Melting:      Constant{1727, 0.02, "liquidus of 304: K. C. Mills, Recommended Values of Thermophysical Properties (2002)"},
		Heat:         Constant{0.866e6, 0.06, "304: c = 469 + 0.135 T, C. S. Kim, ANL-75-55 (1975)"},
		Fusion:       Constant{0.268e6, 0.06, "C. S. Kim, ANL-75-55 (1975)"},
		Conductivity: Constant{24.5, 0.35, "304: 8.1 + 0.0162 T, C. S. Kim, ANL-75-55 (1975)"},
		Absorptivity: Band{0.30, 0.80, absorbs},
		Reflectance:  Absorbing,
		// Chromium burns first and gives more for its oxygen than iron, so its oxide is the bound.
		Oxide: Oxide{"Cr2O3", 23.7e6, 0.31, "Cr2O3, " + nasa + "; share of oxygen for 18 % Cr, 10 % Ni"},
	},
	{
		Name:         "aluminium",
		Density:      Constant{2700, 0.02, "EN 573-3 alloys 2660–2710 (from memory)"},
		Melting:      Constant{933, 0.03, "pure, " + nasa + "; liquidus of 5754 about 915 K"},
		Heat:         Constant{0.673e6, 0.05, "pure, " + nasa},
		Fusion:       Constant{0.397e6, 0.05, "pure, " + nasa},
		Conductivity: Constant{170, 0.40, "5754 about 130, 1050 about 230: " + handbook},
		Absorptivity: Band{0.05, 0.60, absorbs},
		Reflectance:  Reflecting,
		Oxide:        Oxide{"Al2O3", 34.9e6, 0.8894, nasa},
	},
	{
		Name:         "copper",
		Density:      Constant{8940, 0.01, handbook},
		Melting:      Constant{1358, 0.005, nasa},
		Heat:         Constant{0.467e6, 0.02, nasa},
		Fusion:       Constant{0.207e6, 0.02, nasa},
		Conductivity: Constant{360, 0.15, "400 at 20 °C, 330 at 1300 K: " + handbook},
		Absorptivity: Band{0.02, 0.75, absorbs + "; in a deep, narrow front of molten copper up to about 0.75 (from memory)"},
		Reflectance:  HighlyReflecting,
		Oxide:        Oxide{"Cu2O", 10.7e6, 0.1259, nasa},
	},
	{
		Name:         "brass",
		Density:      Constant{8440, 0.02, "CuZn37, EN 1652 (from memory)"},
		Melting:      Constant{1190, 0.03, "liquidus of CuZn37 about 920 °C (from memory)"},
		Heat:         Constant{0.388e6, 0.08, "63 % copper and 37 % zinc by the mixture rule; copper and zinc, " + nasa},
		Fusion:       Constant{0.168e6, 0.08, "mixture rule 0.171; 0.168 for cartridge brass (from memory)"},
		Conductivity: Constant{130, 0.25, "CuZn37 about 120 at 20 °C, more when hot (from memory)"},
		Absorptivity: Band{0.05, 0.60, absorbs},
		Reflectance:  HighlyReflecting,
		// Zinc burns first and gives more for its oxygen than copper, so its oxide is the bound.
		Oxide: Oxide{"ZnO", 21.9e6, 0.170, "ZnO −350.5 kJ/mol: " + handbook},
	},
	{
		Name:         "titanium",
		Density:      Constant{4510, 0.02, "grade 2; 4430 for Ti-6Al-4V: " + handbook},
		Melting:      Constant{1941, 0.02, handbook + "; liquidus of Ti-6Al-4V about 1928 K"},
		Heat:         Constant{1.183e6, 0.06, nasa},
		Fusion:       Constant{0.305e6, 0.06, nasa},
		Conductivity: Constant{19, 0.50, "grade 2 about 20, Ti-6Al-4V 7 cold and 25 hot (from memory)"},
		Absorptivity: Band{0.35, 0.80, absorbs},
		Reflectance:  Absorbing,
		Oxide:        Oxide{"TiO2", 29.5e6, 0.6685, nasa},
	},
	{
		Name:         "magnesium",
		Density:      Constant{1760, 0.03, "pure 1740, AZ31 1770: " + handbook},
		Melting:      Constant{915, 0.03, "pure 923, " + nasa + "; liquidus of AZ31 about 905 K"},
		Heat:         Constant{0.732e6, 0.05, "pure, " + nasa},
		Fusion:       Constant{0.346e6, 0.05, "pure, " + nasa},
		Conductivity: Constant{115, 0.40, "AZ31 about 80, pure 156: " + handbook},
		Absorptivity: Band{0.10, 0.60, absorbs},
		Reflectance:  Reflecting,
		Oxide:        Oxide{"MgO", 37.6e6, 0.6583, nasa},
	},
}
