package schema_test

import (
	"fmt"
	"strings"
	"testing"

	"fettle/schema"
)

// fifty is a set of fifty conditions in the house layout, as long families are.
func fifty() []byte {
	head, rest, _ := strings.Cut(goodSet, "\"conditions\": [\n")
	one, foot, _ := strings.Cut(rest, "\n  ]")
	conditions := make([]string, 50)
	for i := range conditions {
		conditions[i] = strings.Replace(one, `"thickness": "3 mm"`, fmt.Sprintf(`"thickness": "%d.%d mm"`, 1+i/4, i%4*2+1), 1)
	}
	return []byte(head + "\"conditions\": [\n" + strings.Join(conditions, ",\n") + "\n  ]" + foot)
}

func perCondition(b *testing.B, n int) {
	b.ReportAllocs()
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/condition")
}

func BenchmarkReadSet(b *testing.B) {
	data := fifty()
	if f := schema.ReadFile("sets/bay-2/x.json", data); len(f.Problems) > 0 {
		b.Fatal(f.Problems)
	}
	for b.Loop() {
		schema.ReadFile("sets/bay-2/x.json", data)
	}
	perCondition(b, 50)
}

func BenchmarkLayout(b *testing.B) {
	root := schema.ReadFile("sets/bay-2/x.json", fifty()).Root()
	for b.Loop() {
		schema.Layout(root)
	}
	perCondition(b, 50)
}

func BenchmarkDigest(b *testing.B) {
	set := schema.ReadFile("sets/bay-2/x.json", fifty()).Value.(*schema.ConditionSet)
	for b.Loop() {
		for i := range set.Conditions.V {
			(&schema.Values{Machine: set.Machine, Material: set.Material, Gas: set.Gas, Condition: set.Conditions.V[i]}).Digest()
		}
	}
	perCondition(b, 50)
}

func BenchmarkReadRecord(b *testing.B) {
	set := schema.ReadFile("sets/bay-2/x.json", fifty()).Value.(*schema.ConditionSet)
	values := &schema.Values{Machine: set.Machine, Material: set.Material, Gas: set.Gas, Condition: set.Conditions.V[0]}
	id, _ := values.ID()
	r := schema.NewRecord(&schema.Decision{
		Common: schema.Common{Head: schema.Head{Kind: schema.Of(schema.KindApproval), Format: schema.Of(1)}, Library: schema.Of(strings.Repeat("0", 32)),
			At: schema.Of("2026-07-14T09:12:05Z"), By: schema.Of("ana@shop.example")},
		Subjects: schema.Of([]schema.Subject{{Kind: schema.Of(schema.SubjectCondition), ID: schema.Of(id.String()),
			Digest: schema.Of(string(values.Digest())), Values: schema.Of(schema.Encode(values))}})})
	data := r.Bytes()
	if back := schema.ReadRecord(r.Path, data); len(back.Problems) > 0 || back.Digest != r.Digest {
		b.Fatal(back.Problems)
	}
	b.ReportAllocs()
	for b.Loop() {
		schema.ReadRecord(r.Path, data)
	}
}
