package main

import (
	"fettle/lint/trial"
	"fettle/schema"
)

// What trial show says, for programs. Figures are in the unit that is named beside them, shares between 0 and 1.
type (
	jsonTally struct {
		Good     int      `json:"good"`
		Marginal int      `json:"marginal"`
		Bad      int      `json:"bad"`
		Seen     []string `json:"seen"`
	}
	jsonFigure struct {
		Figure string `json:"figure"`
		Unit   string `json:"unit"`
	}
	jsonLevel struct {
		Value string `json:"value"`
		jsonTally
	}
	jsonEdge struct {
		Value   string `json:"value"`
		Outcome string `json:"outcome"`
	}
	jsonProven struct {
		Low    string    `json:"low"`
		High   string    `json:"high"`
		Steps  int       `json:"steps"`
		Cuts   int       `json:"cuts"`
		Wilson []float64 `json:"wilson"`
		Below  *jsonEdge `json:"below"`
		Above  *jsonEdge `json:"above"`
		Now    string    `json:"now"`
	}
	jsonFit struct {
		jsonFigure
		Cuts         int       `json:"cuts"`
		Degree       int       `json:"degree"`
		Coefficients []float64 `json:"coefficients_si"`
		R2           float64   `json:"r2"`
		P            float64   `json:"p"`
		Why          string    `json:"no_fit_because"`
	}
	jsonCompare struct {
		jsonFigure
		From   string    `json:"from"`
		To     string    `json:"to"`
		Cuts   []int     `json:"cuts"`
		Means  []float64 `json:"means_si"`
		Change []float64 `json:"difference_si"`
		T      float64   `json:"t"`
		DF     float64   `json:"df"`
		P      float64   `json:"p"`
		U      float64   `json:"u"`
		PRanks float64   `json:"p_ranks"`
		Hedges float64   `json:"hedges_g"`
		Delta  float64   `json:"cliff_delta"`
		Tested bool      `json:"tested"`
	}
	jsonField struct {
		Field       string        `json:"field"`
		Value       string        `json:"value"`
		Step        string        `json:"step"`
		Levels      []jsonLevel   `json:"levels"`
		Window      *jsonProven   `json:"window"`
		Recommended string        `json:"recommended"`
		Responses   []jsonFit     `json:"responses"`
		Comparisons []jsonCompare `json:"comparisons"`
		DoesNotSay  []string      `json:"does_not_say"`
	}
	jsonGrade struct {
		Record string  `json:"record"`
		Coupon int     `json:"coupon"`
		U      float64 `json:"u_m"`
		URange int     `json:"u_range"`
		UOf    int     `json:"u_points"`
		Rz     float64 `json:"rz5_m"`
		RzRang int     `json:"rz5_range"`
		RzOf   int     `json:"rz5_points"`
	}
	jsonQuality struct {
		Exact   bool        `json:"of_these_values"`
		Coupons []jsonGrade `json:"coupons"`
		Lot     jsonGrade   `json:"lot"`
		Verdict []string    `json:"verdict"`
	}
	jsonSetting struct {
		Values []string `json:"values"`
		jsonTally
	}
	jsonTerm struct {
		Fields []string `json:"fields"`
		Coded  float64  `json:"coded_si"`
		Half   float64  `json:"half_width_si"`
		P      float64  `json:"p"`
	}
	jsonSurface struct {
		jsonFigure
		Cuts   int        `json:"cuts"`
		Curved bool       `json:"curved"`
		Terms  []jsonTerm `json:"terms"`
		R2     float64    `json:"r2"`
		Why    string     `json:"no_fit_because"`
	}
	jsonTogether struct {
		Record   string        `json:"record"`
		Fields   []string      `json:"fields"`
		Settings []jsonSetting `json:"settings"`
		Surfaces []jsonSurface `json:"surfaces"`
	}
	jsonTrialReport struct {
		ID       string         `json:"id"`
		Digest   string         `json:"digest"`
		Trials   []string       `json:"trials"`
		Aside    []jsonAside    `json:"not_counted"`
		Against  string         `json:"against"`
		Unproven []string       `json:"unproven_units"`
		Hot      []string       `json:"hot_nozzle"`
		Fields   []jsonField    `json:"fields"`
		Together []jsonTogether `json:"together"`
		Quality  *jsonQuality   `json:"quality"`
	}
)

func (s *shop) trialsJSON(reports []*trialReport) error {
	out := struct {
		Format     int               `json:"format"`
		Conditions []jsonTrialReport `json:"conditions"`
	}{1, []jsonTrialReport{}}
	for _, t := range reports {
		j := jsonTrialReport{ID: t.id.String(), Digest: string(t.recipe.Digest()), Trials: []string{}, Aside: []jsonAside{}, Against: t.tried.Against(),
			Unproven: append([]string{}, t.unproven...), Hot: []string{}, Fields: []jsonField{}, Together: []jsonTogether{}}
		for _, r := range t.trials {
			j.Trials = append(j.Trials, string(r.Digest))
		}
		for _, a := range t.tried.Evidence.Aside {
			j.Aside = append(j.Aside, jsonAside{string(a.Record.Digest), a.Why})
		}
		for _, r := range t.hot {
			j.Hot = append(j.Hot, string(r.Digest))
		}
		for i := range t.fields {
			j.Fields = append(j.Fields, t.fields[i].json())
		}
		for i := range t.together {
			j.Together = append(j.Together, t.together[i].json())
		}
		if t.quality != nil {
			j.Quality = t.quality.json()
		}
		out.Conditions = append(out.Conditions, j)
	}
	return s.json(out)
}

func tally(l trial.Level) jsonTally {
	return jsonTally{l.Good, l.Marginal, l.Bad, append([]string{}, l.Symptoms...)}
}

func (f *fieldReport) json() jsonField {
	j := jsonField{Field: f.Path, Value: f.Value.Text(), Step: f.Step.Text(), Levels: []jsonLevel{}, Responses: []jsonFit{}, Comparisons: []jsonCompare{},
		DoesNotSay: append([]string{}, f.doubts...)}
	for _, l := range f.Levels {
		j.Levels = append(j.Levels, jsonLevel{l.Value.Text(), tally(l)})
	}
	if f.Found {
		edge := func(l *trial.Level) *jsonEdge {
			if l == nil {
				return nil
			}
			return &jsonEdge{l.Value.Text(), l.Worst().String()}
		}
		j.Window = &jsonProven{f.Window.Low.Text(), f.Window.High.Text(), f.Window.Steps, f.Window.Cuts, []float64{f.low, f.high}, edge(f.Window.Below), edge(f.Window.Above), f.place.Words()}
		j.Recommended = f.recommended.Text()
	}
	for _, r := range f.responses {
		one := jsonFit{jsonFigure: jsonFigure{r.path, r.unit}, Cuts: r.points, Why: r.why, Coefficients: []float64{}}
		if r.why == "" {
			value, _ := r.fit.Coefficients()
			one.Degree, one.R2, one.P, one.Coefficients = r.fit.Degree, r.fit.R2, r.fit.P(), value[:r.fit.Degree+1]
		}
		j.Responses = append(j.Responses, one)
	}
	for _, c := range f.comparisons {
		one := jsonCompare{jsonFigure: jsonFigure{c.path, c.unit}, From: c.from.Text(), To: c.to.Text(), Cuts: []int{len(c.a), len(c.b)}, Means: []float64{}, Change: []float64{}}
		if c.welched {
			one.Tested, one.Means, one.Change = true, []float64{c.welch.MeanA, c.welch.MeanB}, []float64{c.welch.Difference, c.welch.Low, c.welch.High}
			one.T, one.DF, one.P, one.Hedges = c.welch.T, c.welch.DF, c.welch.P, c.welch.Hedges
			one.U, one.PRanks, one.Delta = c.ranks.U, c.ranks.P, c.ranks.Delta
		}
		j.Comparisons = append(j.Comparisons, one)
	}
	return j
}

func (g *togetherReport) json() jsonTogether {
	j := jsonTogether{Record: string(g.record.Digest), Fields: g.paths, Settings: []jsonSetting{}, Surfaces: []jsonSurface{}}
	for _, s := range g.settings {
		one := jsonSetting{jsonTally: tally(s.level)}
		for _, v := range s.values {
			one.Values = append(one.Values, v.Text())
		}
		j.Settings = append(j.Settings, one)
	}
	for _, s := range g.surfaces {
		one := jsonSurface{jsonFigure: jsonFigure{s.path, s.unit}, Cuts: s.surface.Points, Curved: s.surface.Curved, R2: s.surface.R2, Why: s.why, Terms: []jsonTerm{}}
		for _, t := range s.surface.Terms {
			fields := []string{g.paths[t.I]}
			if t.J >= 0 {
				fields = append(fields, g.paths[t.J])
			}
			one.Terms = append(one.Terms, jsonTerm{fields, t.Value, t.Half, t.P})
		}
		j.Surfaces = append(j.Surfaces, one)
	}
	return j
}

func (q *qualityReport) json() *jsonQuality {
	out := &jsonQuality{Exact: q.exact, Coupons: []jsonGrade{}, Verdict: append([]string{}, q.verdict...)}
	grade := func(record schema.Digest, coupon int, g [2]trial.Graded) jsonGrade {
		return jsonGrade{string(record), coupon, g[0].Mean, g[0].Range, g[0].Points, g[1].Mean, g[1].Range, g[1].Points}
	}
	for _, c := range q.coupons {
		out.Coupons = append(out.Coupons, grade(c.cut.Record.Digest, c.number, c.graded))
	}
	out.Lot = grade("", 0, q.lot)
	return out
}
