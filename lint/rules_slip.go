package lint

import (
	"math"

	"fettle/schema"
)

// The rules of the family slip: values that look as if a hand slipped, judged by the neighbours in the family.
var slipRules = []Rule{
	{
		Name: "sign-slip", Severity: Warning, Scope: PerFamily, Check: signSlip, Limit: "0.3",
		Title: "a focus whose sign seems to be lost",
		Why: "Focus is positive above the plate here, and half of all tables count the other way. The focus is named where at least three conditions of the " +
			"family agree on a sign, this one has the other, and turning it round brings it back in line. A lead-in or contour with the very focus of the cut turned " +
			"round is named too. The limit is how near the turned value must come to the line, as a share of how far off the value is.",
		Source: "trade judgement",
		Bad:    `cut.focus=-3 mm`, Good: `2mm:cut.focus=0 mm`,
	},
	{
		Name: "unit-slip", Severity: Warning, Scope: PerFamily, Check: verdictsOf("unit-slip"),
		Title: "a number that fits its family in another unit, or with its digits put right",
		Why: "A number from a table in psi, in/min or inches, or with its decimal point lost, is off by a factor that is known. It is named where a value lies at least twice too high or too low, farther " +
			"than the family scatters, and the same number in another unit, or converted once less, or with the point elsewhere, sits on the curve; or where two digits the other way round do, a quarter off and more. A focus finer than 0.05 mm is set by nobody, so it is looked at however little it is off. The thickness is looked at as well: a row that " +
			"fits on all curves at another thickness.",
		Source: "factors of units by NIST SP 811; what fits is trade judgement, calibrated in this book",
		Bad:    `pierce[0].time=3 s`, Good: `pierce[0].time=0.4 s`,
	},
	{
		Name: "copied-neighbour", Severity: Warning, Scope: PerFamily, Check: copiedNeighbour, Limit: "1.25",
		Title: "the recipe of another thickness",
		Why: "A new row often starts as a copy of its neighbour. From this ratio of thickness on one recipe does not fit both: the thicker plate needs more heat " +
			"or more time. Silent where the speed is what the axes can do at most, and for marking. Two neighbouring rows that would each fit the other thickness " +
			"on all curves of the family together are named too: they changed places.",
		Source: "trade judgement",
		Bad:    `8mm:all=6mm; at thickness`,
		Good:   `8mm:all=6mm; 8mm:cut.speed=2.4 m/min`,
	},
}

// signSlip needs the disagreement of a family: one cut may well be focused on the other side.
func signSlip(p *Pass) {
	share := p.Number()
	var plus, minus []*schema.Recipe
	for _, r := range p.Family {
		if !r.Severs() || !r.Cut.V.Focus.Set() {
			continue
		}
		if r.LeadIn.Set() || len(r.Contours.V) > 0 {
			signSlipInside(p.On(r))
		}
		switch r.Cut.V.Focus.V.Sign() {
		case 1:
			plus = append(plus, r)
		case -1:
			minus = append(minus, r)
		}
	}
	most, few := plus, minus
	if len(minus) > len(plus) {
		most, few = minus, plus
	}
	if len(most) < 3 || len(most) < 2*len(few) {
		return
	}
	for _, r := range few {
		a, b := nearestTwo(most, r)
		t, focus := r.Thickness.V.SI(), r.Cut.V.Focus.V.SI()
		line := onLine(a, b, t)
		if math.Signbit(line) == math.Signbit(focus) || math.Abs(-focus-line) >= share*math.Abs(focus-line) {
			continue
		}
		q := p.On(r)
		turned := r.Cut.V.Focus.V.Scale(-1, 1)
		q.Report(At("cut.focus", r.Cut.V.Focus), "a focus of %s, where %s and %s have %s and %s: %s would be in line", r.Cut.V.Focus.V,
			a.Thickness.V, b.Thickness.V, a.Cut.V.Focus.V, b.Cut.V.Focus.V, turned).
			Help = "Focus is positive above the top surface of the plate."
	}
}

// signSlipInside compares lead-in and contours with their own cut.
func signSlipInside(p *Pass) {
	cut := p.Recipe.Cut.V.Focus.V
	for _, b := range p.blocks() {
		if b.kind != leadInBlock && b.kind != contourBlock || !b.own.Focus.Set() || cut.Sign() == 0 {
			continue
		}
		if b.own.Focus.V.Equal(cut.Scale(-1, 1)) {
			p.Report(At(b.field("focus"), b.own.Focus), "a focus of %s, just the %s of the cut turned round", b.own.Focus.V, cut).
				Help = "Focus is positive above the top surface of the plate."
		}
	}
}

// nearestTwo returns the two of a list, ordered by thickness, that lie next to r: on both sides where there are such.
func nearestTwo(list []*schema.Recipe, r *schema.Recipe) (a, b *schema.Recipe) {
	i := 0
	for i < len(list) && list[i].Thickness.V.Below(r.Thickness.V) {
		i++
	}
	i = min(max(i, 1), len(list)-1)
	return list[i-1], list[i]
}

// onLine is the focus at thickness t on the line through two recipes.
func onLine(a, b *schema.Recipe, t float64) float64 {
	ta, tb := a.Thickness.V.SI(), b.Thickness.V.SI()
	fa, fb := a.Cut.V.Focus.V.SI(), b.Cut.V.Focus.V.SI()
	if ta == tb {
		return fa
	}
	return fa + (fb-fa)*(t-ta)/(tb-ta)
}

func copiedNeighbour(p *Pass) {
	verdictsOf("copied-neighbour")(p)
	ratio := p.Number()
	for i := 1; i < len(p.Family); i++ {
		thin, thick := p.Family[i-1], p.Family[i]
		if !thin.Severs() || thick.Thickness.V.SI() < ratio*thin.Thickness.V.SI() || !sameRecipe(thin, thick) || p.atAxisLimit(thick) {
			continue
		}
		named, other := thick, thin
		if p.untouched(thick) && !p.untouched(thin) {
			named, other = thin, thick
		}
		f := p.On(named).Report(At("thickness", named.Thickness), "%s and %s have the same recipe, and one plate is %.3g times as thick (limit %.3g)",
			thin.Thickness.V, thick.Thickness.V, thick.Thickness.V.SI()/thin.Thickness.V.SI(), ratio)
		f.Help = "Was it copied from " + other.ID.String() + " and not finished?"
	}
}

// sameRecipe compares all that shapes the cut, but for the plate itself.
func sameRecipe(a, b *schema.Recipe) bool {
	x, y := &a.Cut.V, &b.Cut.V
	if !x.Speed.V.Equal(y.Speed.V) || !x.Power.V.Equal(y.Power.V) || !x.Pressure.V.Equal(y.Pressure.V) { // nearly always; the rest is dear
		return false
	}
	for _, d := range Differences(a.Values(), b.Values()) {
		if d.Path != "thickness" && schema.ProcessField(d.Path) {
			return false
		}
	}
	return true
}

// atAxisLimit: where the axes are what limits, thin plates share one recipe.
func (p *Pass) atAxisLimit(r *schema.Recipe) bool {
	if p.Machine == nil {
		return false
	}
	most := p.Machine.Axes.V.MaxSpeed
	return most.Set() && !r.Cut.V.Speed.V.Below(most.V)
}

// untouched reports whether a condition is as it was in the base.
func (p *Pass) untouched(r *schema.Recipe) bool {
	if p.Base == nil {
		return false
	}
	was := p.Base.Recipe(r.ID)
	return was != nil && was.Digest() == r.Digest()
}
