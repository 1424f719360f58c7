package quantity

// A Dimension is the kind of a quantity. The zero Dimension is that of no value.
type Dimension uint8

// The dimensions of a library. A ratio is a share of something, typed in %. A conductance is the sonic conductance of a
// valve (ISO 6358). A volume flow is at the reference atmosphere of ISO 8778.
const (
	DimNone Dimension = iota
	DimLength
	DimSpeed
	DimPressure
	DimPower
	DimTime
	DimFrequency
	DimRatio
	DimBeamParameter
	DimConductance
	DimTemperature
	DimMass
	DimVolumeFlow
	dimCount
)

var dimensions = [dimCount]struct{ name, words, si, example string }{
	DimNone:          {"none", "no quantity", "", ""},
	DimLength:        {"length", "a length", "m", "1.5 mm"},
	DimSpeed:         {"speed", "a speed", "m/s", "3.4 m/min"},
	DimPressure:      {"pressure", "a pressure", "Pa", "0.25 bar"},
	DimPower:         {"power", "a power", "W", "1.8 kW"},
	DimTime:          {"time", "a time", "s", "0.12 s"},
	DimFrequency:     {"frequency", "a frequency", "Hz", "400 Hz"},
	DimRatio:         {"ratio", "a percentage", "1", "35 %"},
	DimBeamParameter: {"beam-parameter-product", "a beam parameter product", "m.rad", "3.5 mm.mrad"},
	DimConductance:   {"conductance", "a sonic conductance", "m3/(s.Pa)", "4.2 dm3/(s.bar)"},
	DimTemperature:   {"temperature", "a temperature", "K", "20 degC"},
	DimMass:          {"mass", "a mass", "kg", "12.5 g"},
	DimVolumeFlow:    {"volume-flow", "a gas flow", "m3/s", "18 m3/h"},
}

func (d Dimension) valid() bool { return d > DimNone && d < dimCount }

// String names d with its article, for a sentence: "a length", "a gas flow".
func (d Dimension) String() string {
	if !d.valid() {
		return dimensions[DimNone].words
	}
	return dimensions[d].words
}

// Name names d in one word, as the settings of a library do: "length", "speed", "beam-parameter-product".
func (d Dimension) Name() string {
	if !d.valid() {
		return dimensions[DimNone].name
	}
	return dimensions[d].name
}

// SI returns the SI unit of d, in which [Value.Canonical] and [Value.SI] count: "m", "m/s", "Pa". For a ratio it is "1".
func (d Dimension) SI() string {
	if !d.valid() {
		return ""
	}
	return dimensions[d].si
}

// Example returns a text that [Parse] reads as d, for messages: "3.4 m/min".
func (d Dimension) Example() string {
	if !d.valid() {
		return ""
	}
	return dimensions[d].example
}

// DimensionNamed returns the dimension whose [Dimension.Name] is name.
func DimensionNamed(name string) (Dimension, bool) {
	for d := DimNone + 1; d < dimCount; d++ {
		if dimensions[d].name == name {
			return d, true
		}
	}
	return DimNone, false
}
