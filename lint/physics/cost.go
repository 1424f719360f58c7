package physics

// Rates are what a cut is paid by, in any one currency. A price per hour is divided by [Hour] first.
type Rates struct {
	Machine float64 // per second
	Gas     float64 // per m³, counted at the [Reference] that the flow is counted at
}

// A Cost is what something costs, in the currency of the rates.
type Cost struct{ Machine, Gas float64 }

// Total is the sum.
func (c Cost) Total() float64 { return c.Machine + c.Gas }

// ForTime is the cost of a time in s with gas flowing at m³/s: a pierce, or a metre of cut, which takes 1/speed.
func (r Rates) ForTime(time, gasFlow float64) (Cost, bool) {
	if !notNegative(r.Machine, r.Gas, time, gasFlow) {
		return Cost{}, false
	}
	c := Cost{r.Machine * time, r.Gas * gasFlow * time}
	if !finite(c.Machine, c.Gas, c.Total()) {
		return Cost{}, false
	}
	return c, true
}

// PerMetre is the cost of a metre of cut at speed m/s with gas flowing at m³/s.
func (r Rates) PerMetre(speed, gasFlow float64) (Cost, bool) {
	if !positive(speed) || !finite(1/speed) {
		return Cost{}, false
	}
	return r.ForTime(1/speed, gasFlow)
}

// GasPerMetre is the gas in m³ that a metre of cut takes, flow m³/s over speed m/s.
func GasPerMetre(gasFlow, speed float64) (float64, bool) {
	if !positive(speed) || !notNegative(gasFlow) {
		return 0, false
	}
	return answer(gasFlow / speed)
}
