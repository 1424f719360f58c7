package main

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"sync"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
)

// cardAlphabet are the digits of a card's code: 32 that are not taken for each other when they are read aloud or typed (as Crockford's base
// 32 has them: no I, L, O, U).
const cardAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// cardCode is the short code of a recipe: the first 40 bits of its digest, which also says which condition it is, in two groups of four.
func cardCode(d schema.Digest) string {
	var bits uint64
	if _, err := fmt.Sscanf(string(d[:10]), "%x", &bits); err != nil {
		return ""
	}
	var out [9]byte
	for i := 8; i >= 0; i-- {
		if i == 4 {
			out[i] = '-'
			continue
		}
		out[i] = cardAlphabet[bits&31]
		bits >>= 5
	}
	return string(out[:])
}

// readCardCode takes what somebody read off a card: in any case, with or without the dash, O for nought, I and L for one.
func readCardCode(typed string) (code string, ok bool) {
	text := strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1").Replace(strings.ToUpper(strings.TrimSpace(typed)))
	if len(text) != 8 || strings.Trim(text, cardAlphabet) != "" {
		return "", false
	}
	return text[:4] + "-" + text[4:], true
}

// machineCard makes the sheet of a condition to hang at the machine. It holds the recipe in force; where nothing is, the one that a permit
// lets run. Anything else is refused: what hangs at a machine is taken for approved.
func (s *shop) machineCard(id schema.ID) (*view.Card, error) {
	lib := s.committed.lib
	position := s.standing(&s.committed).Position(lib, id)
	c := card{Position: position}
	c.base, c.decision = position.Base()
	values := position.Approved()
	out := &view.Card{ID: id.String(), Printed: s.now().Local().Format("2 January 2006 15:04")}
	if set := lib.Settings.Value; set != nil {
		out.Library = set.Name.V
	}
	if position.Status == history.Stale || position.Status == history.Contested {
		values = nil
	}
	if values == nil {
		permit := s.committed.ledger.Permit(id.String(), position.Digest, "", s.now())
		if permit == nil || position.Now == nil {
			return nil, refusef("How it stands: fettle review "+id.String()+"\nTo let it run until somebody decides: fettle permit "+id.String()+" --until TIME --because \"...\"",
				"%s: %s; a card at a machine is taken for approved, so there is none of it", id, s.standsAs(&c))
		}
		ends, _ := history.PermitEnds(permit)
		values, out.Until = position.Now.Values(), clockText(ends)
		out.State = fmt.Sprintf("let run by %s: %s", spoken(permit.By.V), clean(permit.Text.V))
		if permit.Unit.Set() || permit.Lot.Set() {
			out.Notes = append(out.Notes, strings.TrimSpace("Only"+onlyFor(permit)))
		}
	} else {
		verb := map[bool]string{true: "Adopted", false: "Approved"}[c.decision.Record.Kind == schema.KindAdoption]
		out.State = fmt.Sprintf("%s on %s by %s", verb, c.decision.Record.Time().Local().Format("2 January 2006"), c.deciders())
		if position.Status != history.Approved {
			out.Notes = append(out.Notes, "A newer recipe waits for a decision. It is not on this card.")
		}
	}
	out.Code = cardCode(values.Digest())
	out.Check = "fettle show " + out.Code
	s.fillCard(out, lib, id, values)
	return out, nil
}

func onlyFor(p *schema.Permit) (text string) {
	if p.Unit.Set() {
		text += " on " + clean(p.Unit.V)
	}
	if p.Lot.Set() {
		text += " for lot " + clean(p.Lot.V)
	}
	return text + "."
}

// fillCard puts the values of a recipe onto a card.
func (s *shop) fillCard(out *view.Card, lib *schema.Library, id schema.ID, v *schema.Values) {
	prefs := s.prefs()
	out.Title = strings.ReplaceAll(id.Material+", "+id.Gas, "-", " ") + ", " + v.Thickness.V.Format(prefs)
	for _, part := range []string{id.Variant, id.Process} {
		if part != "" && part != "cut" {
			out.Title += ", " + part
		}
	}
	out.Machines = "for " + id.Machine
	if m := lib.Machine(id.Machine); m != nil && len(m.UnitNames()) > 0 {
		out.Machines = "for " + strings.Join(m.UnitNames(), ", ")
	}
	out.Cautions = cautions(lib, v)
	recipe := &schema.Recipe{ID: id, Set: &schema.ConditionSet{Grade: v.Grade}, Condition: &v.Condition}
	big := map[string]string{"cut.power": "power", "cut.speed": "speed", "cut.pressure": "pressure", "cut.focus": "focus", "nozzle.standoff": "standoff"}
	nozzle := ""
	for _, f := range schema.Fields(recipe.Condition) {
		switch name := big[f.Path]; {
		case name != "":
			out.Big = append(out.Big, view.CardValue{Name: name, Value: value(f, prefs)})
		case f.Path == "nozzle.form" || f.Path == "nozzle.orifice":
			nozzle = strings.TrimSpace(nozzle + " " + value(f, prefs))
		}
	}
	out.Big = append(out.Big, view.CardValue{Name: "nozzle", Value: nozzle})
	slices.SortStableFunc(out.Big, func(a, b view.CardValue) int {
		order := []string{"power", "speed", "pressure", "focus", "nozzle", "standoff"}
		return slices.Index(order, a.Name) - slices.Index(order, b.Name)
	})
	// What is not large: the rest of nozzle and cut, lead-in, corner, contours, kerf, quality, note.
	rest := *recipe.Condition
	rest.Pierce = schema.Member[[]schema.Stage]{}
	for _, row := range s.valueRows(&schema.Recipe{ID: id, Set: recipe.Set, Condition: &rest}) {
		text := row[1]
		if row[0] == "nozzle" || row[0] == "cut" {
			text = s.smallValues(&rest, row[0], big)
		}
		if text != "" {
			out.Rows = append(out.Rows, view.Row{Label: strings.ReplaceAll(row[0], "_", " "), Text: text})
		}
	}
	s.fillStages(out, recipe)
}

// smallValues are the values of a block that are not in large type.
func (s *shop) smallValues(c *schema.Condition, block string, big map[string]string) string {
	var parts []string
	for _, f := range schema.Fields(c) {
		name, ok := strings.CutPrefix(f.Path, block+".")
		if ok && big[f.Path] == "" && f.Path != "nozzle.form" && f.Path != "nozzle.orifice" {
			parts = append(parts, strings.ReplaceAll(name, "_", " ")+" "+value(f, s.prefs()))
		}
	}
	return strings.Join(parts, ", ")
}

// fillStages puts the pierce onto a card, a row a stage.
func (s *shop) fillStages(out *view.Card, r *schema.Recipe) {
	stages := map[string]map[string]string{}
	var order []string
	for _, f := range schema.Fields(r.Condition) {
		if !strings.HasPrefix(f.Path, "pierce[") {
			continue
		}
		stage, name, _ := strings.Cut(f.Path, ".")
		if stages[stage] == nil {
			stages[stage] = map[string]string{}
			order = append(order, stage)
		}
		if !slices.Contains(out.Fields, name) {
			out.Fields = append(out.Fields, name)
		}
		stages[stage][name] = value(f, s.prefs())
	}
	for i, stage := range order {
		row := view.CardStage{Name: fmt.Sprint(i + 1)}
		for _, name := range out.Fields {
			row.Values = append(row.Values, stages[stage][name])
		}
		out.Stages = append(out.Stages, row)
	}
	for i := range out.Fields {
		out.Fields[i] = strings.ReplaceAll(out.Fields[i], "_", " ")
	}
}

// codeDigits are the first digits of the digests of recipes that have a code.
func codeDigits(code string) string {
	var bits uint64
	for _, c := range strings.ReplaceAll(code, "-", "") {
		bits = bits<<5 | uint64(strings.IndexRune(cardAlphabet, c))
	}
	return fmt.Sprintf("%010x", bits)
}

// aboutCard restricts the shop to what bears on the recipe of a code, where it lies in the files, is saved or was decided on; to no condition
// where it is none of these. Where what was typed is the name of a condition as well, it says so, and that counts.
func (s *shop) aboutCard(code, typed string) (named bool, err error) {
	if !s.apart() {
		if _, _, err := s.both(); err != nil {
			return false, err
		}
		return len(matching(typed, s.ids(inFiles|inSaved))) > 0, nil
	}
	digits := codeDigits(code)
	ids, named, err := s.currentlyWith(digits, typed)
	if named {
		s.wholly()
		return true, nil
	}
	if err == nil && len(ids) == 0 {
		s.bar.doing("looking through all decisions")
		ids, err = decidedWith(s.part.snapshots[0], digits)
	}
	if err == nil && len(ids) > 0 {
		err = s.turn(s.part.origin.of(ids, unsaved))
	}
	if err != nil { // only the whole library can tell what is wrong
		s.wholly()
		_, _, err = s.both()
	}
	return false, err
}

// currentlyWith are the conditions, saved or on disk, whose digest begins in some way. It stops at one that may be meant by what was typed.
func (s *shop) currentlyWith(digits, typed string) (ids []schema.ID, named bool, err error) {
	sets, edited, err := s.sets()
	if err != nil {
		return nil, false, err
	}
	done := 0
	for chunk := range slices.Chunk(sets, setsAtOnce) {
		s.bar.doing(fmt.Sprintf("looking for the card: %d of %d sets", done, len(sets)))
		done += len(chunk)
		libs, err := s.within(s.part.quietly().ofSets(chunk)).savedAndEdited(chunk, edited)
		if err != nil {
			return nil, false, err
		}
		if len(matching(typed, idsOf(libs...))) > 0 {
			return nil, true, nil
		}
		for _, lib := range libs {
			has := make([]bool, len(lib.Recipes))
			_ = schema.AtOnce(len(has), func(i int) error {
				has[i] = strings.HasPrefix(string(lib.Recipes[i].Digest()), digits)
				return nil
			})
			for i, r := range lib.Recipes {
				if has[i] {
					ids = append(ids, r.ID.Apart())
				}
			}
		}
	}
	return ids, false, nil
}

// decidedWith are the conditions in a decision of a snapshot that name a recipe with a digest that begins in some way.
func decidedWith(snap git.Snapshot, digits string) ([]schema.ID, error) {
	files := slices.DeleteFunc(snap.Files(), func(p string) bool { return !schema.IsRecordPath(p) })
	found := make([][]schema.ID, len(files))
	err := schema.AtOnce(len(files), func(i int) error {
		data, err := snap.Read(files[i])
		if err != nil || !bytes.Contains(data, []byte(`"`+digits)) && !bytes.Contains(data, []byte(`\u`)) { // a digit may be written in that way
			return err
		}
		if d, ok := schema.ReadRecord(files[i], data).Body.(*schema.Decision); ok {
			for _, x := range d.Subjects.V {
				if id, err := schema.ParseID(x.ID.V); err == nil && strings.HasPrefix(x.Digest.V, digits) {
					found[i] = append(found[i], id.Apart())
				}
			}
		}
		return nil
	})
	return slices.Concat(found...), err
}

// codedRecipe finds the recipe of a code among all that ever stood here: what lies in the files, what is saved, what was decided on, what
// was saved once. It gives the library as far as it bears on that recipe.
func (s *shop) codedRecipe(code string) (q *shop, id schema.ID, digest schema.Digest, err error) {
	if id, digest = s.codedHere(code); digest != "" {
		return s, id, digest, nil
	}
	s.bar.doing("looking through all that was ever saved")
	if id, digest, err = s.codedOnce(code); err != nil {
		return nil, id, "", err
	}
	if digest == "" {
		return nil, id, "", troublef("Read it off the card once more: two groups of four, without I, L, O and U.", "no recipe that ever stood here has the code %s", code)
	}
	if q = s; s.part != nil {
		q = s.within(s.part.origin.of([]schema.ID{id}, unsaved))
		_, _, err = q.both()
	}
	return q, id, digest, err
}

// codedHere finds the recipe of a code among what lies in the files, what is saved and what was decided on; "" where it is none of them.
func (s *shop) codedHere(code string) (id schema.ID, digest schema.Digest) {
	for _, lib := range []*schema.Library{s.committed.lib, s.unsaved.lib} {
		for _, r := range lib.Recipes {
			if cardCode(r.Digest()) == code {
				return r.ID, r.Digest()
			}
		}
	}
	for _, d := range history.Bodies[*schema.Decision](s.committed.ledger) {
		for _, x := range d.Body.Subjects.V {
			if x.Kind.V == schema.SubjectCondition && len(x.Digest.V) == 64 && cardCode(schema.Digest(x.Digest.V)) == code {
				if id, err := schema.ParseID(x.ID.V); err == nil {
					return id, schema.Digest(x.Digest.V)
				}
			}
		}
	}
	return id, ""
}

// codedOnce finds the recipe of a code among all that was ever saved; "" where there is none.
func (s *shop) codedOnce(code string) (id schema.ID, digest schema.Digest, err error) {
	digits := codeDigits(code)
	var mu sync.Mutex
	var ids []schema.ID
	if err := audit.Recipes(s.repo, s.sub, func(id schema.ID, d schema.Digest) {
		if strings.HasPrefix(string(d), digits) {
			mu.Lock()
			defer mu.Unlock()
			ids = append(ids, id.Apart())
		}
	}); err != nil {
		return id, "", err
	}
	slices.SortFunc(ids, schema.ID.Compare)
	for _, id := range slices.Compact(ids) {
		trail, err := s.toldOnce("", []schema.ID{id}, true)
		if err != nil {
			return id, "", err
		}
		for _, v := range trail.Versions(id.String()) {
			if strings.HasPrefix(string(v.Digest), digits) {
				return id, v.Digest, nil
			}
		}
	}
	return id, "", nil
}

// A cardState is what is said of a card.
type cardState struct {
	Format  int           `json:"format"`
	Code    string        `json:"code"`
	ID      string        `json:"id"`
	Digest  schema.Digest `json:"digest"`
	Current bool          `json:"current"`
	State   string        `json:"state"`
	Changes []string      `json:"changes"`
}

// showCode says whether a card is out of date.
func (s *shop) showCode(code string) error {
	q, id, digest, err := s.codedRecipe(code)
	if err != nil {
		return err
	}
	out := q.stateOfCard(code, id, digest)
	if s.format == "json" {
		if err := s.json(out); err != nil {
			return err
		}
	} else {
		s.tell("%s is a card of %s", code, id)
		s.tell("    %s", out.State)
		for _, line := range out.Changes {
			s.tell("    %s", line)
		}
		if !out.Current {
			s.tell("    next        take it down; a new one: fettle show %s --format html >card.html", id)
		}
	}
	if !out.Current {
		return errFound
	}
	return nil
}

func (s *shop) stateOfCard(code string, id schema.ID, digest schema.Digest) cardState {
	position := s.standing(&s.committed).Position(s.committed.lib, id)
	c := card{Position: position}
	c.base, c.decision = position.Base()
	out := cardState{Format: 1, Code: code, ID: id.String(), Digest: digest, Changes: []string{}}
	inForce, ok := position.State.Digest()
	ok = ok && inForce != ""
	permit := s.committed.ledger.Permit(id.String(), digest, "", s.now())
	switch {
	case ok && inForce == digest && position.Status == history.Stale:
		out.State = "OUT OF DATE: the machine changed since it was approved"
		for _, d := range position.Drifted {
			out.Changes = append(out.Changes, s.changeLines([]history.FieldChange{d})[0])
		}
	case ok && inForce == digest:
		verb := map[bool]string{true: "adopted", false: "approved"}[c.decision.Record.Kind == schema.KindAdoption]
		out.Current, out.State = true, fmt.Sprintf("it holds: %s on %s by %s", verb, s.day(c.decision.Record.Time()), c.deciders())
	case permit != nil:
		ends, _ := history.PermitEnds(permit)
		out.Current, out.State = true, "it holds for now: provisional until "+clockText(ends)
	case len(position.State.Once(digest)) > 0 && !ok:
		out.State = "OUT OF DATE: it was approved once, and nothing of this condition is in force now"
	case ok:
		out.State = fmt.Sprintf("OUT OF DATE: another recipe is in force since %s, by %s", s.day(c.decision.Record.Time()), c.deciders())
		if old := s.recipeOf(id, digest); old != nil {
			out.Changes = append(out.Changes, s.changeLines(history.CompareValues(old, position.Approved()))...)
		}
	default:
		out.State = "NOT APPROVED: nothing of this condition is in force"
	}
	return out
}

// recipeOf finds an old recipe, in the history where nothing nearer has it; nil where nobody does.
func (s *shop) recipeOf(id schema.ID, digest schema.Digest) *schema.Values {
	if v := s.valuesOf(id, digest); v != nil {
		return v
	}
	trail, err := s.toldOnce("", []schema.ID{id}, true)
	if err != nil {
		return nil
	}
	if v := trail.Recipe(id.String(), digest); v != nil {
		return v
	}
	return audit.RecordedRecipe(trail.Ledger, id.String(), digest)
}
