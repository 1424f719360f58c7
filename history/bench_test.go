package history_test

import (
	"fmt"
	"testing"

	"fettle/history"
	"fettle/schema"
)

// A busy library after some years: 100 conditions, 2,000 records. Each condition goes through reasons, trials and approvals in
// turn; the settings changed now and then.
func busyShop(b *testing.B) *shop {
	s := newShop(b)
	subjects := []schema.Subject{s.roster("Mara", "Jonas", "Petra"), s.settings(2, "refuse")}
	const conditions = 100
	at := func(i, version int) schema.Subject {
		return s.condOf(fmt.Sprintf("%d mm", i+1), fmt.Sprintf("0.%d bar", 300+version))
	}
	last := make([][]*schema.Record, conditions)
	for i := range conditions {
		subjects = append(subjects, at(i, 0))
	}
	anchor := s.adopt("Mara", subjects...)
	settings := anchor
	for i := range last {
		last[i] = []*schema.Record{anchor}
	}
	for version := 1; len(s.records) < 2000; version++ {
		for i := range conditions {
			from, to := at(i, version-1), at(i, version)
			r := &schema.Reason{Cause: schema.Of("trial-result"), Changes: schema.Of([]schema.Change{{ID: to.ID, From: from.Digest, To: to.Digest}})}
			s.write(r, &r.Common, schema.KindReason, "Ove", unsigned)
			s.tryOut(nil, "good")
			behind := append([]*schema.Record{settings}, last[i]...)
			last[i] = []*schema.Record{s.approve("Jonas", to, follow(behind...)), s.approve("Petra", to, follow(behind...))}
		}
		settings = s.approve("Mara", s.settings(2, "refuse"), follow(settings))
	}
	return s
}

func BenchmarkJudge(b *testing.B) {
	s := busyShop(b)
	l := s.ledger()
	if st := l.Judge(northgate, ""); len(st.Condition(idOf(b, id6)).InForce) != 2 || len(st.Refused) > 0 {
		b.Fatalf("%s, refused %d", s.says(st.Condition(idOf(b, id6))), len(st.Refused))
	}
	b.ReportMetric(float64(len(l.Records)), "records")
	for b.Loop() {
		l.Judge(northgate, "")
	}
}

func BenchmarkReadLedger(b *testing.B) {
	files := busyShop(b).files()
	for b.Loop() {
		if _, err := history.ReadLedger(files); err != nil {
			b.Fatal(err)
		}
	}
}

// All positions, reasons and trials of a library, as a full review asks for them.
func BenchmarkReview(b *testing.B) {
	s := busyShop(b)
	l := s.ledger()
	st := l.Judge(northgate, "")
	to := recipe("6 mm", "0.33 bar")
	for b.Loop() {
		for i := range 100 {
			id := idOf(b, fmt.Sprintf("bay-2/carbon-steel/oxygen/%dmm", i+1))
			l.Edges(schema.SubjectCondition, id.String())
			l.Covers(id, history.ValuesOf(st.Condition(id).Last()), to, schema.BeamAndJet{})
		}
	}
}

// One subject that was decided on a thousand times, in a line.
func BenchmarkJudgeLongLine(b *testing.B) {
	s, last := adopted(b, 1, "allow", "Mara")
	for i := range 1000 {
		last = s.approve("Mara", s.cond(fmt.Sprintf("0.%d bar", 100+i)), follow(last))
	}
	l := s.ledger()
	for b.Loop() {
		l.Judge(northgate, "")
	}
}
