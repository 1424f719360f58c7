package trial

import "fettle/lint/physics"

// A Figure is one of the two figures that ISO 9013 grades.
type Figure uint8

// The figures.
const (
	Perpendicularity Figure = iota // perpendicularity or angularity tolerance u
	Roughness                      // mean height of the profile Rz5
)

// A Graded figure is the mean over measuring points and the range of ISO 9013 that it is in.
type Graded struct {
	Mean   float64 // m
	Points int
	Range  int // 1 is the finest; 0 is worse than the last
}

// Mean grades measuring points in m on a plate of a thickness in m: those of one coupon, or of all coupons of a lot. ISO 9013 grades the
// mean over the measuring points, whose number and place the standard or the drawing states; nothing is left out here, and no point
// counts for more than another. It is false without points.
func Mean(f Figure, points []float64, thickness float64) (Graded, bool) {
	if len(points) == 0 {
		return Graded{}, false
	}
	g := Graded{Points: len(points)}
	for _, p := range points {
		g.Mean += p / float64(len(points))
	}
	grade := physics.PerpendicularityRange
	if f == Roughness {
		grade = physics.RoughnessRange
	}
	var ok bool
	g.Range, ok = grade(g.Mean, thickness)
	return g, ok
}

// Meets reports whether a range is at least as fine as one that is asked for. Nought is worse than the last and meets nothing.
func (g Graded) Meets(asked int) bool { return g.Range > 0 && g.Range <= asked }
