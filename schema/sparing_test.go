package schema

import (
	"reflect"
	"strings"
	"testing"
)

// What is read sparingly is what is read anyway, and the content of a decision means the same as text.
func TestReadSparingly(t *testing.T) {
	spare := NewSparing()
	values := ` { "machine" : "bay-2","material":"carbon-steel","gas":"oxygen","thickness":"6 mm","variant":"a-1",
		"note":"\" { \\\" \t, in \u00fc: } \\","cut":{"power":"2 kW","speed":"1 m/min" , "extra": [ 1.50 , true, null ]}} `
	for _, text := range []string{
		`{"kind":"approval","format":1,"at":"2026-07-14T09:00:00Z","by":"Mara","text":"a  \"b\"","subjects":[{"kind":"condition","id":"x","values":` + values + `,"known":["a","a"]}]}`,
		`{"kind":"approval","format":1,"subjects":[{"kind":"roster","id":"roster","values":["a","b  c"]},{"kind":"machine","values":{"name":"x","gas":{}}},{"values":7}]}`,
		`{"kind":"approval","format":1,"subjects":[{"kind":"condition","values":{"cut":{"power":"1 kW","power":"2 kW"}}}]}`, // a name twice
		`{"kind":"trial","format":1,"id":"x","values":` + values + `,"steps":[{"outcome":"good","changed":{"cut.power":"1 kW"},"measured":{"kerf":"0.2 mm"}},{"outcome":"odd"}],"overrides":{"feed":"90 %"}}`,
		`{"kind":"reason","format":1,"text":"` + strings.Repeat("long ", 60) + `","changes":[{"id":"a","from":null,"to":"b"}],"cause":"none"}`,
		`{"kind":"later","format":1}`, `[1]`, `{"kind":`, ``,
	} {
		want, got := ReadRecord("records/x.json", []byte(text)), spare.ReadRecord("records/x.json", []byte(text))
		subjects := func(r *Record) []Subject {
			if d, ok := r.Body.(*Decision); ok {
				return d.Subjects.V
			}
			return nil
		}
		for i := range subjects(want) {
			s, other := &subjects(want)[i], &subjects(got)[i]
			var v [2]Values
			problems := [2][]Problem{}
			for k, n := range []*Node{s.Values.V, other.Values.V} {
				if n == nil {
					continue
				}
				problems[k] = Bind(n, &v[k])
				for i := range problems[k] {
					problems[k][i].At = Span{}
				}
			}
			if v[0].Digest() != v[1].Digest() || !reflect.DeepEqual(problems[0], problems[1]) || v[0].Note.V != v[1].Note.V {
				t.Errorf("%s\nas text %+v %v\nas tree %+v %v", text, v[1], problems[1], v[0], problems[0])
			}
			if other.Values.V != nil && other.Values.V.Kind != Object && !reflect.DeepEqual(s.Values, other.Values) {
				t.Errorf("%s: %+v, want %+v", text, other.Values, s.Values)
			}
			s.Values, other.Values = Member[*Node]{}, Member[*Node]{}
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s\nsparingly %+v\nelse %+v", text, got, want)
		}
	}
}
