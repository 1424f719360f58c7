package physics

import "math"

// positive reports whether every number is finite and above nought. NaN is not.
func positive(numbers ...float64) bool {
	for _, x := range numbers {
		if !(x > 0) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// notNegative reports whether every number is finite and nought or above. NaN is not.
func notNegative(numbers ...float64) bool {
	for _, x := range numbers {
		if !(x >= 0) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// finite reports whether every number is one, of either sign.
func finite(numbers ...float64) bool {
	for _, x := range numbers {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// answer hands out x if it is finite: numbers that are sound one by one may still overflow together.
func answer(x float64) (float64, bool) {
	if !finite(x) {
		return 0, false
	}
	return x, true
}
