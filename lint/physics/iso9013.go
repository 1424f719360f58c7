package physics

// Ranges of ISO 9013:2017 for thermal cuts, the lower the better. a is the thickness of the plate. The standard speaks of laser cuts of
// 0.5 to 32 mm; outside that the formulas are returned as well, and [LaserScope] says so. Beyond the last range there is none.

// border is a + b·thickness, in µm and µm per mm.
type border struct{ at0, slope float64 }

var (
	// Perpendicularity or angularity tolerance u, ISO 9013 table 4: 0.05 + 0.003 a … 1.2 + 0.035 a, in mm there.
	perpendicularity = [...]border{{50, 3}, {150, 7}, {400, 10}, {800, 20}, {1200, 35}}
	// Mean height of the profile Rz5, ISO 9013 table 5, µm.
	roughness = [...]border{{10, 0.6}, {40, 0.8}, {70, 1.2}, {110, 1.8}}
)

// LaserScope reports whether a thickness in m is within what ISO 9013 says of laser cuts: 0.5 mm to 32 mm.
func LaserScope(thickness float64) bool {
	return thickness >= 0.5e-3*(1-slack) && thickness <= 32e-3*(1+slack)
}

// slack keeps a value that sits on a border on its good side, whatever the last digit of a conversion did.
const slack = 1e-9

func limit(borders []border, number int, thickness float64) (float64, bool) {
	if number < 1 || number > len(borders) || !positive(thickness) {
		return 0, false
	}
	b := borders[number-1]
	return answer(b.at0*1e-6 + b.slope*1e-3*thickness)
}

func grade(borders []border, measured, thickness float64) (int, bool) {
	if !notNegative(measured) || !positive(thickness) {
		return 0, false
	}
	for i := range borders {
		most, ok := limit(borders, i+1, thickness)
		if !ok {
			return 0, false
		}
		if measured <= most*(1+slack) {
			return i + 1, true
		}
	}
	return 0, true
}

// PerpendicularityLimit is the largest u in m of range 1 to 5 at a thickness in m.
func PerpendicularityLimit(number int, thickness float64) (float64, bool) {
	return limit(perpendicularity[:], number, thickness)
}

// PerpendicularityRange is the range, 1 to 5, of a measured u in m at a thickness in m; 0 if it is worse than range 5.
func PerpendicularityRange(u, thickness float64) (int, bool) {
	return grade(perpendicularity[:], u, thickness)
}

// RoughnessLimit is the largest Rz5 in m of range 1 to 4 at a thickness in m.
func RoughnessLimit(number int, thickness float64) (float64, bool) {
	return limit(roughness[:], number, thickness)
}

// RoughnessRange is the range, 1 to 4, of a measured Rz5 in m at a thickness in m; 0 if it is worse than range 4.
func RoughnessRange(rz5, thickness float64) (int, bool) {
	return grade(roughness[:], rz5, thickness)
}

// ExecutionClass is the worst ranges of ISO 9013 that steelwork of an execution class may have: EN 1090-2:2018+A1, table 9, for EXC2, EXC3
// and EXC4. EXC1 asks for none. The edition of 2008 differs.
func ExecutionClass(class int) (perpendicularity, roughness int, ok bool) {
	switch class {
	case 2:
		return 5, 4, true
	case 3, 4:
		return 4, 4, true
	}
	return 0, 0, false
}
