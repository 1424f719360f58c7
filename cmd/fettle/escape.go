package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
	"fettle/schema/quantity"
)

// escapeFlags say what got out.
type escapeFlags struct {
	unit, from, to, found, job, lot, text string
	symptoms, overrides                   []string
	noCommit                              bool
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f escapeFlags
		cmd := &cobra.Command{Use: "escape [ID...] --unit U --from T", Short: "write down that bad parts got out; fettle audit --escape then says what changed before",
			Long: "Writes down which bad parts got out: from which machine, cut from when to when, what is wrong with them. Without ids it is about all that was\n" +
				"loaded on the machine by then. Times are those of this computer unless they say their zone. When in doubt give the earlier beginning.\n" +
				"Without anything it lists what is on record. Parts that got out are dealt with by the rules of the shop; this does not release or recall any.",
			Example: "  fettle escape bay-2/carbon-steel/oxygen/10mm --unit bay-2 --from '2026-11-14 14:00' --to '2026-11-16 06:00' \\\n" +
				"      --symptom dross,coarse-striation --job 4711 --lot NG-26110",
			ValidArgsFunction: a.complete(inSaved),
			RunE: func(cmd *cobra.Command, args []string) error {
				if err := a.oneOf("text", "json"); err != nil {
					return err
				}
				if len(args) == 0 && cmd.Flags().NFlag() == 0 {
					return a.listEscapes()
				}
				return a.escape(args, f)
			}}
		fl := cmd.Flags()
		fl.StringVar(&f.unit, "unit", "", "the real machine that cut them")
		fl.StringVar(&f.from, "from", "", "when the first bad part was cut: 2026-11-14 14:00")
		fl.StringVar(&f.to, "to", "", "when the last one was cut; when it was found if left out")
		fl.StringVar(&f.found, "found", "", "when it was found; now if left out")
		fl.StringVar(&f.job, "job", "", "the job")
		fl.StringVar(&f.lot, "lot", "", "the plate lot")
		fl.StringVar(&f.text, "because", "", "what happened, in your own words")
		fl.StringSliceVar(&f.symptoms, "symptom", nil, "what is wrong with them: "+strings.Join(schema.Symptoms, ", "))
		fl.StringSliceVar(&f.overrides, "override", nil, "an override that stood at the machine: feed=90%")
		fl.BoolVar(&f.noCommit, "no-commit", false, "only stage the record; the next commit saves it")
		cmd.RegisterFlagCompletionFunc("symptom", cobra.FixedCompletions(schema.Symptoms, cobra.ShellCompDirectiveNoFileComp))
		a.completeUnits(cmd)
		return cmd
	})
}

func (a *app) escape(typed []string, f escapeFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	if s.about(typed, allRecords); len(typed) == 0 {
		s.onlyRecords(0)
	}
	_, saved, err := s.both()
	if err != nil {
		return err
	}
	m, err := machineOf(saved, f.unit)
	if err != nil {
		return err
	}
	e := &schema.Escape{}
	from, to, found, err := s.escapeTimes(f)
	if err != nil {
		return err
	}
	if err := knownWords(f.symptoms, schema.Symptoms, "a word for a symptom"); err != nil {
		return err
	}
	if len(f.symptoms) == 0 {
		return troublef("Add --symptom with one or more of:\n"+strings.Join(schema.Symptoms, ", "), "what is wrong with the parts?")
	}
	if e.Overrides, err = readOverrides(f.overrides); err != nil {
		return err
	}
	var ids []schema.ID
	if len(typed) > 0 {
		if ids, err = s.resolve(typed, s.everDecided(saved)); err != nil {
			return err
		}
		for _, id := range ids {
			if id.Machine != m.Name.V {
				return refusef("Its conditions begin with "+m.Name.V+"/.", "%s is of machine %s, and %s runs on the profile of %s", id, id.Machine, f.unit, m.Name.V)
			}
		}
	} else if len(audit.LoadedIDs(audit.Loads(s.committed.ledger), f.unit, to)) == 0 {
		return refusef("Name the conditions that the parts were cut with. Loads are written down by: fettle load ID --unit "+f.unit,
			"no load on %s before %s is on record, so it is not known what it held", f.unit, clockText(to))
	}
	if e.Common, err = s.common(saved, schema.KindEscape, f.text); err != nil {
		return err
	}
	e.Unit, e.Symptom = schema.Of(f.unit), schema.Of(f.symptoms)
	e.From, e.To, e.Found = stamped(from), stamped(to), stamped(found)
	if len(ids) > 0 {
		names := make([]string, len(ids))
		for i, id := range ids {
			names[i] = id.String()
		}
		e.IDs = schema.Of(names)
	}
	for _, line := range []struct {
		member *schema.Member[string]
		text   string
	}{{&e.Job, f.job}, {&e.Lot, f.lot}} {
		if line.text != "" {
			*line.member = schema.Of(line.text)
		}
	}
	r := schema.NewRecord(e)
	if back := schema.ReadRecord(r.Path, r.Bytes()); len(back.Problems) > 0 {
		p := back.Problems[0]
		return troublef(p.Help, "%s: %s; nothing was written", p.Field, p.Message)
	}
	if err := s.onRecord(r); err != nil {
		return err
	}
	s.say("escape    on %s: %s", f.unit, strings.Join(f.symptoms, ", "))
	s.say("          cut from %s", clockText(from))
	s.say("          until    %s   (%s UTC to %s UTC)", clockText(to), from.UTC().Format("2 January 15:04"), to.UTC().Format("2 January 15:04"))
	for _, id := range ids {
		s.say("          %s", id)
	}
	if len(ids) == 0 {
		s.say("          all that was loaded on %s by then", f.unit)
	}
	message := fmt.Sprintf("Record bad parts of %s that got out\n\n%s\n", f.unit, clean(strings.TrimSpace(strings.Join(f.symptoms, ", ")+". "+f.text)))
	if err := s.put(r, message, f.noCommit); err != nil {
		return err
	}
	s.say("next      fettle audit --escape %s", r.Digest.Short())
	return nil
}

// onRecord refuses a record that is saved already, word for word. One that was only written, since the program was ended on the way,
// is saved now.
func (s *shop) onRecord(r *schema.Record) error {
	if s.committed.ledger.Get(r.Digest) == nil {
		return nil
	}
	return refusef("Nothing is left to do.", "just this is on record already: %s", r.Path)
}

func stamped(t time.Time) schema.Member[string] { return schema.Of(t.UTC().Format(time.RFC3339)) }

// escapeTimes reads from when to when bad parts were cut, and when that was found.
func (s *shop) escapeTimes(f escapeFlags) (from, to, found time.Time, err error) {
	if f.from == "" {
		return from, to, found, troublef("Such as --from '2026-11-14 14:00'. If nobody knows, give the last time at which parts were good.", "when was the first bad part cut?")
	}
	if from, err = s.past("--from", f.from); err != nil {
		return from, to, found, err
	}
	found = s.now().UTC().Truncate(time.Second)
	if f.found != "" {
		if found, err = s.past("--found", f.found); err != nil {
			return from, to, found, err
		}
	}
	to = found
	if f.to != "" {
		if to, err = s.pastEnd("--to", f.to); err != nil {
			return from, to, found, err
		}
	}
	switch {
	case !from.Before(to):
		return from, to, found, troublef("The first bad part comes before the last one, and before it was found.", "from %s until %s is no time at all", clockText(from), clockText(to))
	case f.found != "" && found.Before(from):
		return from, to, found, troublef("", "it was found on %s, before the first bad part was cut", clockText(found))
	}
	return from, to, found, nil
}

// everDecided are the conditions that the library holds, or that somebody decided on once.
func (s *shop) everDecided(lib *schema.Library) []schema.ID {
	ids := idsOf(lib)
	for _, p := range s.standing(&s.committed).Positions(lib) {
		if !slices.Contains(ids, p.ID) {
			ids = append(ids, p.ID)
		}
	}
	return ids
}

func knownWords(words, list []string, what string) error {
	for _, w := range words {
		if !slices.Contains(list, w) {
			return troublef(didYouMean(w, list), "%q is not %s", w, what)
		}
	}
	return nil
}

// mostOverride is the largest override that a control has, as a share.
const mostOverride = 3.0

// overrideNames are what an operator can turn down at the control.
var overrideNames = []string{"feed", "power", "pressure"}

// readOverrides reads feed=90%.
func readOverrides(typed []string) (schema.Table[quantity.Ratio], error) {
	var out schema.Table[quantity.Ratio]
	for _, text := range typed {
		name, value, ok := strings.Cut(text, "=")
		name = strings.TrimSpace(name)
		if !ok {
			return nil, troublef("Such as --override feed=90%", "%q is no NAME=PERCENT", text)
		}
		if err := knownWords([]string{name}, overrideNames, "an override"); err != nil {
			return nil, err
		}
		value = strings.TrimSpace(value)
		if value != "" && strings.Trim(value, "0123456789.") == "" {
			value += " %"
		}
		v, err := quantity.ParseOf[quantity.Ratio](tightUnit().ReplaceAllString(value, "$1 $2"))
		if err != nil {
			return nil, troublef("Such as --override feed=90%", "%s: %w", name, err)
		}
		if v.Sign() <= 0 || v.SI() > mostOverride {
			return nil, troublef("100 % is what the recipe says. Such as --override feed=90%", "%s at %s: nothing is cut like that", name, v.Text())
		}
		out = append(out, schema.Row[quantity.Ratio]{Name: name, V: v, At: schema.Made})
	}
	return out, nil
}

// overridesText says which overrides stood, "" for none.
func overridesText(t schema.Table[quantity.Ratio]) string {
	var parts []string
	for _, row := range t {
		parts = append(parts, clean(row.Name)+" "+row.V.Text())
	}
	return strings.Join(parts, ", ")
}

// listEscapes lists what got out, the newest last.
func (a *app) listEscapes() error {
	s, err := a.open()
	if err != nil {
		return err
	}
	s.onlyRecords(0)
	if _, err := s.saved(); err != nil {
		return err
	}
	type escape struct {
		Record  string   `json:"record"`
		Unit    string   `json:"unit"`
		From    *string  `json:"from"`
		To      *string  `json:"to"`
		Symptom []string `json:"symptom"`
		IDs     []string `json:"ids"`
		By      string   `json:"by"`
	}
	all := []escape{}
	withdrawn := s.standing(&s.committed).Withdrawn
	for _, r := range history.Bodies[*schema.Escape](s.committed.ledger) {
		if withdrawn[r.Record.Digest] != nil {
			continue
		}
		b := r.Body
		all = append(all, escape{string(r.Record.Digest), b.Unit.V, some(b.From.V), some(b.To.V), append([]string{}, b.Symptom.V...), append([]string{}, b.IDs.V...), b.By.V})
		what := "all that was loaded"
		if len(b.IDs.V) > 0 {
			what = strings.Join(b.IDs.V, ", ")
		}
		s.say("%s  %s on %s: %s", r.Record.Digest.Short(), s.moment(b.From.V), clean(b.Unit.V), strings.Join(b.Symptom.V, ", "))
		s.say("              %s", clean(what))
	}
	if s.format == "json" {
		return s.json(map[string]any{"format": 1, "escapes": all})
	}
	if len(all) == 0 {
		s.say("no escape is on record. To write one down: fettle escape ID --unit U --from T --symptom S")
		return nil
	}
	s.say("what changed before one of them: fettle audit --escape %s", all[len(all)-1].Record[:12])
	return nil
}
