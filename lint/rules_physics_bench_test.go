package lint

import (
	"testing"

	"fettle/schema"
)

// BenchmarkPhysics is what the rules of physics add to judging one family, as a hook does for a condition of it, and all conditions of
// the calibration, as fettle lint does.
func BenchmarkPhysics(b *testing.B) {
	all := ordinaries(b)
	var family []ordinary
	for _, o := range all {
		if o.set() == "cal-06/carbon-steel-oxygen" {
			family = append(family, o)
		}
	}
	off := map[string]Severity{}
	for _, r := range Rules() {
		if (&Finding{Rule: r.Name}).isPhysics() {
			off[r.Name] = Off
		}
	}
	for _, size := range []struct {
		name string
		list []ordinary
	}{{"family", family}, {"all", all}} {
		lib := shopOf(b, size.list)
		for _, rules := range []struct {
			name     string
			severity map[string]Severity
		}{{"with", nil}, {"without", off}} {
			b.Run(size.name+"/"+rules.name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					Run(lib, Options{Severity: rules.severity})
				}
				b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(len(lib.Recipes)), "µs/condition")
			})
		}
	}
	r := shopOf(b, family).Recipes[0]
	lib := shopOf(b, family)
	b.Run("figures", func(b *testing.B) {
		var v *schema.Values = r.Values()
		for b.Loop() {
			Figures(lib, v)
		}
	})
}
