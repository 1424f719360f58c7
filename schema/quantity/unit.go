package quantity

import "strings"

// A unitID is a place in the table of units. 0 is no unit.
type unitID uint8

// A unit is an exact multiple of the SI unit of its dimension: SI = number × factor + offset.
type unit struct {
	name   string
	dim    Dimension
	factor rat
	offset rat // only of degC
}

// units is every unit that is read, in the order in which a message lists them. Sources of the factors: the SI brochure
// (prefixes, min, h, L, bar as 100 kPa, degree Celsius), and for the inch and the pound-force per square inch the exact
// definitions of 1959 (0.0254 m, 0.45359237 kg) with the standard acceleration 9.80665 m/s² of the CGPM of 1901.
var units = []unit{
	{},
	{name: "um", dim: DimLength, factor: rat{n: 1, d: 1e6}},
	{name: "mm", dim: DimLength, factor: rat{n: 1, d: 1000}},
	{name: "cm", dim: DimLength, factor: rat{n: 1, d: 100}},
	{name: "m", dim: DimLength, factor: one},
	{name: "in", dim: DimLength, factor: inch},

	{name: "mm/s", dim: DimSpeed, factor: rat{n: 1, d: 1000}},
	{name: "mm/min", dim: DimSpeed, factor: rat{n: 1, d: 60_000}},
	{name: "m/min", dim: DimSpeed, factor: rat{n: 1, d: 60}},
	{name: "m/s", dim: DimSpeed, factor: one},
	{name: "in/min", dim: DimSpeed, factor: inch.quo(rat{n: 60, d: 1})},

	{name: "Pa", dim: DimPressure, factor: one},
	{name: "mbar", dim: DimPressure, factor: rat{n: 100, d: 1}},
	{name: "bar", dim: DimPressure, factor: rat{n: 100_000, d: 1}},
	{name: "kPa", dim: DimPressure, factor: rat{n: 1000, d: 1}},
	{name: "MPa", dim: DimPressure, factor: rat{n: 1_000_000, d: 1}},
	{name: "psi", dim: DimPressure, factor: makeRat(45359237, 1e8).mul(makeRat(980665, 1e5)).quo(inch.mul(inch))},

	{name: "W", dim: DimPower, factor: one},
	{name: "kW", dim: DimPower, factor: rat{n: 1000, d: 1}},

	{name: "us", dim: DimTime, factor: rat{n: 1, d: 1e6}},
	{name: "ms", dim: DimTime, factor: rat{n: 1, d: 1000}},
	{name: "s", dim: DimTime, factor: one},
	{name: "min", dim: DimTime, factor: rat{n: 60, d: 1}},

	{name: "Hz", dim: DimFrequency, factor: one},
	{name: "kHz", dim: DimFrequency, factor: rat{n: 1000, d: 1}},

	{name: "%", dim: DimRatio, factor: rat{n: 1, d: 100}},
	{name: "mm.mrad", dim: DimBeamParameter, factor: rat{n: 1, d: 1e6}},
	{name: "dm3/(s.bar)", dim: DimConductance, factor: rat{n: 1, d: 1e8}},

	{name: "degC", dim: DimTemperature, factor: one, offset: makeRat(27315, 100)},
	{name: "K", dim: DimTemperature, factor: one},

	{name: "g", dim: DimMass, factor: rat{n: 1, d: 1000}},

	{name: "L/min", dim: DimVolumeFlow, factor: rat{n: 1, d: 60_000}},
	{name: "m3/h", dim: DimVolumeFlow, factor: rat{n: 1, d: 3600}},
}

var (
	one  = rat{n: 1, d: 1}
	inch = makeRat(254, 10_000)
)

// spellings maps every accepted spelling to its unit: the plain names, both micro signs (U+00B5 and U+03BC), and the
// gauge marks of a pressure.
var spellings = func() map[string]unitID {
	all := make(map[string]unitID, 2*len(units))
	for id := 1; id < len(units); id++ {
		name, u := units[id].name, unitID(id)
		all[name] = u
		if rest, ok := strings.CutPrefix(name, "u"); ok {
			all["µ"+rest], all["μ"+rest] = u, u
		}
		if units[id].dim == DimPressure {
			all[name+"g"], all[name+"(g)"] = u, u
		}
	}
	return all
}()

var (
	inches = spellings["in"]
	kelvin = spellings["K"]
)

func (id unitID) name() string   { return units[id].name }
func (id unitID) dim() Dimension { return units[id].dim }

// toSI turns a number of the unit into SI.
func (id unitID) toSI(number rat) rat {
	u := &units[id]
	si := number
	if u.factor != one {
		si = si.mul(u.factor)
	}
	if u.offset.n != 0 {
		si = si.add(u.offset)
	}
	return si
}

// fromSI is the inverse of toSI.
func (id unitID) fromSI(si rat) rat {
	u := &units[id]
	if u.offset.n != 0 {
		si = si.sub(u.offset)
	}
	return si.quo(u.factor)
}

// Units returns the plain names of the units of d, small to large within a system.
func Units(d Dimension) []string {
	var names []string
	for _, u := range units[1:] {
		if u.dim == d {
			names = append(names, u.name)
		}
	}
	return names
}

// UnitDimension returns the dimension of a unit in any accepted spelling: "mm", "µm", "psig".
func UnitDimension(unit string) (Dimension, bool) {
	id, ok := spellings[unit]
	return id.dim(), ok
}

// unitOf finds a unit of dimension d. The error is an [*Error] about the unit alone.
func unitOf(d Dimension, name string) (unitID, error) {
	id, ok := spellings[name]
	if ok && id.dim() == d {
		return id, nil
	}
	e := unitError(d, "", name)
	e.Text = name
	return 0, e
}

// unitFor is [unitOf] for the dimension of v.
func (v Value) unitFor(name string) (unitID, error) {
	if v.IsZero() {
		return 0, &Error{Kind: Empty, Text: name, Found: "no value", Expected: "a quantity", Hint: "give it a value first"}
	}
	return unitOf(v.dim, name)
}
