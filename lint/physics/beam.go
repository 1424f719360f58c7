package physics

import "math"

// Spot is the diameter in m of the image of a fibre's end: core · focal length / collimation, all in m. 0.1 mm at 200/100 is 0.2 mm.
// It holds for a fibre whose end is imaged without fault, so it is the least the optics give. Source: geometric optics.
func Spot(core, focalLength, collimation float64) (float64, bool) {
	if !positive(core, focalLength, collimation) {
		return 0, false
	}
	return answer(core * (focalLength / collimation))
}

// TimesDiffraction is M², how many times wider than the best possible a beam spreads: π·BPP/λ, with the beam parameter product BPP in
// m·rad (half diameter times half angle) and the wavelength λ in m. 1 at 1.07 µm is 0.3406 mm·mrad. Below 1 there is no
// beam; the number is still returned. Source: ISO 11146-1.
func TimesDiffraction(product, wavelength float64) (float64, bool) {
	if !positive(product, wavelength) {
		return 0, false
	}
	return answer(math.Pi * product / wavelength)
}

// A Beam is a focused beam, of the same width in every direction across it. Diameters are D4σ of ISO 11146-1: four times the spread of
// its power about the middle. Which way the beam goes does not matter.
type Beam struct {
	Waist   float64 // diameter in focus, m
	Product float64 // beam parameter product, m·rad
}

func (b Beam) valid() bool { return positive(b.Waist, b.Product) }

// HalfAngle is the angle in rad between the axis and the edge far from the focus: 2·BPP/d0, d0 the waist. For small angles
// (under 0.2 rad, which every cutting head keeps). Source: ISO 11146-1.
func (b Beam) HalfAngle() (float64, bool) {
	if !b.valid() {
		return 0, false
	}
	return answer(2 * b.Product / b.Waist)
}

// Rayleigh is the distance in m from the focus at which the diameter is √2 times the waist: d0²/(4·BPP). Source: ISO 11146-1.
func (b Beam) Rayleigh() (float64, bool) {
	if !b.valid() {
		return 0, false
	}
	return answer(b.Waist / 4 * (b.Waist / b.Product))
}

// Diameter is the diameter in m at a distance in m from the focus, either way: d0·√(1 + (z/zR)²). Source: ISO 11146-1.
func (b Beam) Diameter(distance float64) (float64, bool) {
	if !b.valid() || !finite(distance) {
		return 0, false
	}
	angle, ok := b.HalfAngle()
	if !ok {
		return 0, false
	}
	return answer(math.Hypot(b.Waist, 2*angle*distance)) // d0·z/zR = 2·angle·z
}

// A Span is how wide the beam is inside a plate, m.
type Span struct {
	Top, Bottom       float64 // at the two surfaces
	Smallest, Largest float64 // anywhere between
}

// Inside is how wide the beam is in a plate of that thickness m, the focus at height focus m above its upper surface (negative inside it).
// The metal does not bend the beam here: walls of the kerf that guide light make it narrower in truth.
func (b Beam) Inside(focus, thickness float64) (Span, bool) {
	if !positive(thickness) || !finite(focus) {
		return Span{}, false
	}
	top, ok := b.Diameter(focus)
	bottom, ok2 := b.Diameter(focus + thickness)
	if !ok || !ok2 {
		return Span{}, false
	}
	s := Span{Top: top, Bottom: bottom, Smallest: math.Min(top, bottom), Largest: math.Max(top, bottom)}
	if focus <= 0 && focus >= -thickness {
		s.Smallest = b.Waist
	}
	return s, true
}

// At is the diameter in m at a height m above the upper surface of the plate (negative below it), the focus at height focus m. At the tip of the
// nozzle the height is the standoff.
func (b Beam) At(height, focus float64) (float64, bool) {
	if !finite(height, focus) {
		return 0, false
	}
	return b.Diameter(height - focus)
}

// ClippedShare is the share of the power that a round orifice stops, both diameters in m, the beam in its middle: exp(−2·(orifice/beam)²).
// It is for a Gaussian profile with the beam's D4σ diameter: 13.5 % where the two are equal. A beam with a flat top of that
// D4σ is stopped by nothing there; real ones lie between, and near the focus closer to the flat one. Source: ISO 11146-1 for
// D4σ; the integral of the profile.
func ClippedShare(beam, orifice float64) (float64, bool) {
	if !positive(beam) || !notNegative(orifice) {
		return 0, false
	}
	ratio := orifice / beam
	return answer(math.Exp(-2 * ratio * ratio))
}

// Intensity is the mean power per area in W/m² of a power W over a beam diameter m: 4P/(π d²).
func Intensity(power, diameter float64) (float64, bool) {
	if !notNegative(power) || !positive(diameter) {
		return 0, false
	}
	return answer(power / diskArea(diameter))
}
