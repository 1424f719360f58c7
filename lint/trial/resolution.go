package trial

import (
	"math/big"
	"strings"

	"fettle/schema/quantity"
)

// usualSteps are how finely controls commonly take a value. Common practice, no source; a machine profile that says otherwise
// (export.resolution) comes first.
var usualSteps = map[quantity.Dimension]string{
	quantity.DimLength:    "0.1 mm",
	quantity.DimSpeed:     "0.01 m/min",
	quantity.DimPressure:  "0.01 bar",
	quantity.DimPower:     "10 W",
	quantity.DimTime:      "0.01 s",
	quantity.DimFrequency: "10 Hz",
	quantity.DimRatio:     "1 %",
}

// Step is the step in which a value is set: that of the machine where it is declared, else the usual one, or a finer one where the
// values were typed more finely. It is no value where nothing is known of such a quantity.
func Step(declared string, typed ...quantity.Value) quantity.Value {
	if len(typed) == 0 {
		return quantity.Value{}
	}
	dim := typed[0].Dimension()
	if v, err := quantity.Parse(dim, declared); err == nil && v.Sign() > 0 {
		return v
	}
	usual, ok := usualSteps[dim]
	if !ok {
		return quantity.Value{}
	}
	step := quantity.MustParse(dim, usual)
	for _, v := range typed {
		if fine := lastDigit(v); !fine.IsZero() && fine.Cmp(step) < 0 {
			step = fine
		}
	}
	return step
}

// lastDigit is one unit of the last digit that a value was typed with: 0.001 bar for 0.365 bar. It is no value for a whole number,
// a fraction of an inch, and what was computed.
func lastDigit(v quantity.Value) quantity.Value {
	number := strings.TrimRight(strings.TrimSuffix(strings.TrimRight(v.Text(), " "), v.Unit()), " ")
	_, decimals, ok := strings.Cut(number, ".")
	if !ok || len(decimals) == 0 || len(decimals) > 6 || strings.Trim(decimals, "0123456789") != "" {
		return quantity.Value{}
	}
	one, err := quantity.Parse(v.Dimension(), "0."+strings.Repeat("0", len(decimals)-1)+"1 "+v.Unit())
	if err != nil {
		return quantity.Value{}
	}
	return one
}

// StepsIn is how many steps fit into a distance, rounded down towards zero.
func StepsIn(distance, step quantity.Value) int64 {
	if step.Sign() <= 0 || distance.Dimension() != step.Dimension() {
		return 0
	}
	n := new(big.Rat).Quo(distance.Rat(), step.Rat())
	return new(big.Int).Quo(n.Num(), n.Denom()).Int64()
}
