package main

import (
	"bufio"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/triage"
	"fettle/schema"
	"fettle/schema/quantity"
)

// triageFlags say what is wrong with a cut.
type triageFlags struct {
	symptoms, overrides []string
	unit, found, text   string
	all, walk, noCommit bool
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f triageFlags
		cmd := &cobra.Command{Use: "triage ID --symptom S", Short: "a cut went bad: did the recipe change, what to check first, and only then what to try",
			Annotations: map[string]string{"formats": "own"},
			Long: "Says whether the recipe stands as it was approved and tried, which values the machine should show, and what to check before the recipe is\n" +
				"touched, in order: how, how long it takes, what rules it out. Only then one step of one parameter inside the proven window.\n" +
				"--walk goes through the checks one by one and keeps what was ruled out for the next reason. --found writes down what it was.\n" +
				"A shop adds lines of its own in the file triage.txt. It is advice: the instructions of the machine maker and local rules go before it.",
			Example: "  fettle triage bay-2/carbon-steel/oxygen/10mm --symptom dross,one-sided --unit bay-2\n  fettle triage 10mm --symptom dross --walk\n" +
				"  fettle triage bay-2/carbon-steel/oxygen/10mm --symptom dross --found nozzle-wear --because 'bore oval after a crash'",
			Args: cobra.ExactArgs(1), ValidArgsFunction: a.complete(inSaved),
			RunE: func(cmd *cobra.Command, args []string) error {
				if err := a.oneOf(pageFormats...); err != nil {
					return err
				}
				return a.triage(args[0], f)
			}}
		fl := cmd.Flags()
		fl.StringSliceVar(&f.symptoms, "symptom", nil, "what is seen: "+strings.Join(schema.Symptoms, ", "))
		fl.StringVar(&f.unit, "unit", "", "the real machine; needed where several share a profile")
		fl.StringSliceVar(&f.overrides, "override", nil, "an override that stands at the machine: feed=90%")
		fl.BoolVar(&f.all, "all", false, "show every check, not only the first ones")
		fl.BoolVar(&f.walk, "walk", false, "go through the checks one by one")
		fl.StringVar(&f.found, "found", "", "write down what it was: "+strings.Join(schema.RuledOut, ", "))
		fl.StringVar(&f.text, "because", "", "what was found, in your own words")
		fl.BoolVar(&f.noCommit, "no-commit", false, "only stage the record; the next commit saves it")
		cmd.RegisterFlagCompletionFunc("symptom", cobra.FixedCompletions(schema.Symptoms, cobra.ShellCompDirectiveNoFileComp))
		cmd.RegisterFlagCompletionFunc("found", cobra.FixedCompletions(schema.RuledOut, cobra.ShellCompDirectiveNoFileComp))
		a.completeUnits(cmd)
		return cmd
	})
}

// A round is one triage.
type round struct {
	*shop
	k         *triage.Knowledge
	c         triage.Case
	verdict   triage.Verdict
	tasks     []triage.Task
	overrides schema.Table[quantity.Ratio]
	base      string // known material
	oxygen    bool
}

func (a *app) triage(typed string, f triageFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	s.meant([]string{typed}, allRecords, inSaved)
	if _, _, err := s.both(); err != nil {
		return err
	}
	r, err := s.beginRound(typed, f)
	if err != nil {
		return err
	}
	switch {
	case f.found != "":
		if f.text == "" && s.terminal && s.format == "text" && slices.Contains(schema.RuledOut, f.found) {
			f.text = prompt(s, bufio.NewReader(s.in), "What was it, in your own words")
		}
		return r.recordFound(f.found, f.text, nil, f.noCommit)
	case len(f.symptoms) == 0:
		return troublef("Add --symptom with one or more of:\n"+strings.Join(schema.Symptoms, ", "), "what is wrong with the cut?")
	case f.walk:
		return r.walk(f)
	case s.format == "json":
		return s.json(r.forPrograms())
	}
	return s.writePage(r.triagePage(f.all))
}

// beginRound works out what is asked about.
func (s *shop) beginRound(typed string, f triageFlags) (*round, error) {
	saved := s.committed.lib
	ids, err := s.resolve([]string{typed}, s.ids(inSaved))
	if err != nil {
		return nil, err
	}
	if len(ids) != 1 {
		return nil, troublef("", "one condition at a time; %s is %d", typed, len(ids))
	}
	if err := knownWords(f.symptoms, schema.Symptoms, "a word for a symptom"); err != nil {
		return nil, err
	}
	unit, err := s.unit(saved, ids[0].Machine, f.unit)
	if err != nil {
		return nil, err
	}
	r := &round{shop: s}
	if r.overrides, err = readOverrides(f.overrides); err != nil {
		return nil, err
	}
	if r.k, err = s.knowledge(); err != nil {
		return nil, err
	}
	r.c = triage.Case{Library: saved, Standing: s.standing(&s.committed), ID: ids[0], Unit: unit, Symptoms: f.symptoms, Now: s.now(), Recipe: s.recipeAnywhere}
	r.verdict = triage.Judge(r.c)
	r.tasks = r.k.Checks(f.symptoms, triage.FoundOn(s.committed.ledger, unit, f.symptoms, s.now()))
	r.base, _ = saved.BaseMaterial(ids[0].Material)
	r.oxygen = triage.Burns(saved, ids[0])
	return r, nil
}

// recipeAnywhere finds a recipe in the library, its records, or else its history.
func (s *shop) recipeAnywhere(name string, digest schema.Digest) *schema.Values {
	id, err := schema.ParseID(name)
	if err != nil {
		return nil
	}
	if v := s.valuesOf(id, digest); v != nil {
		return v
	}
	trail, err := s.trail("")
	if err != nil {
		return nil
	}
	return trail.Recipe(name, digest)
}

// firstChecks is how many checks are shown with all that is known of them.
const firstChecks = 7

// triagePage is what to read before anybody touches the recipe.
func (r *round) triagePage(all bool) *view.Page {
	page := &view.Page{Title: "A bad cut with " + r.c.ID.String(), Subtitle: "Advice. The instructions of the machine maker and local rules go before it."}
	t := &teller{shop: r.shop, page: page, adopted: true}
	top := func(label, text string) { page.Rows = append(page.Rows, view.Row{Label: label, Text: text}) }
	top("condition", r.c.ID.String())
	top("machine", clean(r.c.Unit))
	top("symptom", strings.Join(r.c.Symptoms, ", "))
	if stop := r.k.Stop(r.c.Symptoms); len(stop) > 0 {
		t.section("Stop first")
		for _, line := range stop {
			t.row0(line.Text)
		}
	}
	r.tellVerdict(t)
	if len(r.overrides) > 0 {
		t.section("Overrides")
		t.row0(overridesText(r.overrides) + " stands at the machine. Set it to 100 % and cut one part before anything else: many bad parts start there.")
	}
	t.section(map[bool]string{true: "Look elsewhere first, in this order", false: "Check in this order"}[r.verdict.Innocent()])
	if len(r.overrides) == 0 {
		t.row0("are feed, power and pressure overrides at 100 %? If not, add --override feed=90%")
	}
	if r.terminal && r.format == "text" {
		t.row0("to go through them one by one, and keep what was ruled out: add --walk")
	}
	for i, task := range r.tasks {
		if i == firstChecks && !all {
			var rest []string
			for _, more := range r.tasks[i:] {
				rest = append(rest, more.Word)
			}
			t.block("then: "+strings.Join(rest, ", ")+"   (how: --all)", view.Plain)
			break
		}
		r.tellTask(t, i, task)
	}
	r.tellAdvice(t)
	t.section("Take care")
	shown := r.tasks
	if !all {
		shown = shown[:min(firstChecks, len(shown))]
	}
	for _, line := range r.k.Cautions(r.base, r.c.ID.Gas, r.oxygen, shown) {
		t.row0(line.Text)
	}
	t.section("When it is found")
	t.row0(r.command() + " --found WORD")
	return page
}

// command is the triage to type again. The machine is named where it is not the only one of its profile.
func (r *round) command() string {
	return triageCommand(r.c.Library, r.c.ID.String(), r.c.Symptoms, r.c.Unit)
}

func triageCommand(lib *schema.Library, id string, symptoms []string, unit string) string {
	machine, _, _ := strings.Cut(id, "/")
	line := "fettle triage " + id + " --symptom " + strings.Join(symptoms, ",")
	if m := lib.Machine(machine); m == nil || len(m.UnitNames()) != 1 || m.UnitNames()[0] != unit {
		line += " --unit " + unit
	}
	return line
}

// tellVerdict tells how the recipe stands: yes, no or unknown, never more than the records say.
func (r *round) tellVerdict(t *teller) {
	v := &r.verdict
	t.section("The recipe")
	for _, line := range []struct {
		question string
		s        *triage.Statement
	}{{"unchanged since it was approved", &v.Approved}, {"unchanged since the last good trial", &v.Tried}, {"what is on " + clean(r.c.Unit) + " is what is approved", &v.Loaded}} {
		tone := map[triage.Answer]view.Tone{triage.IsSo: view.Good, triage.IsNotSo: view.Bad}[line.s.Answer]
		t.block(fmt.Sprintf("%-8s %s", line.s.Answer, line.question), tone)
		t.row("", "%s", t.says(line.s.Says))
		for _, l := range t.changeLines(line.s.Changes) {
			t.row("", "%s", l)
		}
	}
	for _, l := range t.changeLines(v.Drifted) {
		t.row("", "machine: %s", l)
	}
	if v.Should != nil {
		word := "should show"
		if v.Approved.Answer == triage.NotSaid {
			word = "is saved as"
		}
		t.block("the machine "+word, view.Plain)
		t.row("", "%s", t.oneLine(v.Should))
		if more := t.pierceLine(v.Should); more != "" {
			t.row("", "%s", more)
		}
	}
	if work := r.unsaved.lib.Recipe(r.c.ID); work != nil && r.committed.lib.Recipe(r.c.ID) != nil && work.Digest() != r.committed.lib.Recipe(r.c.ID).Digest() {
		t.block("there are edits that are not saved; none of this is about them", view.Bad)
	}
}

// pierceLine is a pierce in a line.
func (t *teller) pierceLine(v *schema.Values) string {
	prefs := t.prefs()
	var stages []string
	for _, s := range v.Pierce.V {
		var parts []string
		for _, q := range []quantity.Value{s.Power.V.Value, s.Time.V.Value, s.Pressure.V.Value} {
			if !q.IsZero() {
				parts = append(parts, q.Format(prefs))
			}
		}
		stages = append(stages, strings.Join(parts, " "))
	}
	if len(stages) == 0 {
		return ""
	}
	return "pierce " + strings.Join(stages, ", then ")
}

// tellTask tells one check.
func (r *round) tellTask(t *teller, i int, task triage.Task) {
	t.block(fmt.Sprintf("%d  %s   %s", i+1, strings.ReplaceAll(task.Word, "-", " "), counted(task.Minutes, "minute")), view.Plain)
	if f := task.Found; f != nil {
		times := "once"
		if f.Times > 1 {
			times = fmt.Sprintf("%d times", f.Times)
		}
		t.row("here", "it was it %s on %s, last on %s", times, clean(r.c.Unit), t.day(f.Last))
	}
	for _, l := range task.Notes {
		t.row("why", "%s", l.Text)
	}
	for _, l := range task.How {
		t.row("how", "%s", l.Text)
	}
	for _, l := range task.Clears {
		t.row("rules out", "%s", l.Text)
	}
}

// tellAdvice tells the one step that is left when all else is ruled out.
func (r *round) tellAdvice(t *teller) {
	t.section("Only then, with all of that ruled out")
	switch {
	case r.verdict.Approved.Answer == triage.IsNotSo && r.verdict.Should != nil:
		t.row0("the recipe is not what is approved: cut with that first")
		t.row0("fettle put-back " + r.c.ID.String())
		return
	case r.verdict.Loaded.Answer == triage.IsNotSo:
		t.row0("the machine holds another recipe than the approved one: load that first, then cut")
		return
	case len(r.overrides) > 0:
		t.row0("nothing, as long as an override stands")
		return
	}
	advice, passed := r.k.Advise(r.c, &r.verdict)
	for _, p := range passed {
		t.row0("no step " + p)
	}
	if advice == nil {
		t.row0("no single step of the recipe is known to help")
		return
	}
	t.block("one step: "+strings.Join(strings.Fields(t.changeLines([]history.FieldChange{advice.Change()})[0]), " "), view.Plain)
	t.row("why", "%s", advice.Why.Text)
	if w := advice.Window; w != nil {
		t.row("window", "inside what trials showed good, %s to %s", w.Low.Format(t.prefs()), w.High.Format(t.prefs()))
	} else {
		t.row("window", "no trials say how far is good; this step is a trial itself")
	}
	t.row("cut", "%s", advice.Cut.Text)
	t.row("then", "fettle trial record %s --with %s=%s --good   (or --bad --seen ...)", r.c.ID, schema.SpokenPath(advice.Field), strings.ReplaceAll(advice.To.Text(), " ", ""))
}

// walk goes through the checks one by one.
func (r *round) walk(f triageFlags) error {
	if r.format != "text" {
		return troublef("", "--walk asks and answers on a screen; it has no --format %s", r.format)
	}
	in := bufio.NewReader(r.in)
	page := &view.Page{}
	t := &teller{shop: r.shop, page: page, adopted: true}
	show := func() {
		page.Text(func(line string) { r.say("%s", line) })
		*page = view.Page{}
	}
	for _, line := range r.k.Stop(r.c.Symptoms) {
		r.say("%s", line.Text)
	}
	if len(r.k.Stop(r.c.Symptoms)) > 0 {
		prompt(r.shop, in, "Enter when that is done")
	}
	r.tellVerdict(t)
	show()
	r.say("")
	for _, line := range r.k.Cautions(r.base, r.c.ID.Gas, r.oxygen, nil) {
		r.say("%s", line.Text)
	}
	var ruledOut []string
	switch good, asked := r.overridesFirst(in); {
	case good:
		return r.recordFound("override", "With "+overridesText(r.overrides)+" parts were bad, with all at 100 % they were good.", nil, f.noCommit)
	case asked:
		ruledOut = append(ruledOut, "override")
		r.tasks = slices.DeleteFunc(r.tasks, func(task triage.Task) bool { return task.Word == "override" })
		r.overrides = nil // they stand at 100 % now
	}
	for i, task := range r.tasks {
		r.say("")
		t.section("")
		r.tellTask(t, i, task)
		for _, name := range task.Cautions {
			if name != "park" && name != "hot" && name != "beam" {
				t.row("care", "%s", r.k.Caution(name).Text)
			}
		}
		page.Sections[0].Title = fmt.Sprintf("check %d of %d", i+1, len(r.tasks))
		show()
		switch answerOf(r.shop, in, "good, found it, skip or quit? [g/f/s/q]", "good", "found it", "skip", "quit") {
		case "good":
			ruledOut = append(ruledOut, task.Word)
		case "found it":
			text := prompt(r.shop, in, "What was it, in your own words")
			return r.recordFound(task.Word, text, ruledOut, f.noCommit)
		case "quit":
			return r.keepDraft(ruledOut)
		}
	}
	r.say("")
	r.tellAdvice(t)
	show()
	return r.keepDraft(ruledOut)
}

// overridesFirst asks which overrides stand, has them set to 100 % and a part cut. It reports whether that part was good, and whether the
// question was answered at all.
func (r *round) overridesFirst(in *bufio.Reader) (good, asked bool) {
	for len(r.overrides) == 0 {
		answer := prompt(r.shop, in, "\nDoes an override stand there? (such as feed=90%; Enter for none)")
		overrides, err := readOverrides(splitList(answer))
		if err != nil {
			r.exit(err) // and it is asked again
			continue
		}
		if len(overrides) == 0 {
			return false, false
		}
		r.overrides = overrides
	}
	r.say("%s: set it to 100 %% and cut one part first", overridesText(r.overrides))
	switch answerOf(r.shop, in, "Is that part good? yes, no, or skip [y/n/s]", "yes", "no", "skip") {
	case "yes":
		return true, true
	case "no":
		return false, true
	}
	return false, false
}

// answerOf asks until one of the words is typed, or its beginning. The last word is the answer where nothing more comes in.
func answerOf(s *shop, in *bufio.Reader, question string, words ...string) string {
	for {
		fmt.Fprintf(s.out, "%s: ", question)
		line, err := in.ReadString('\n')
		typed := strings.ToLower(strings.TrimSpace(line))
		for _, w := range words {
			if typed != "" && strings.HasPrefix(w, typed) {
				return w
			}
		}
		if err != nil {
			return words[len(words)-1]
		}
	}
}

// recordFound writes down what a bad cut turned out to be.
func (r *round) recordFound(word, text string, ruledOut []string, stage bool) error {
	if err := knownWords([]string{word}, schema.RuledOut, "a thing that can be ruled out"); err != nil {
		return err
	}
	common, err := r.common(r.committed.lib, schema.KindCause, text)
	if err != nil {
		return err
	}
	common.Unit = schema.Of(r.c.Unit)
	cause := &schema.Cause{Common: common, ID: schema.Of(r.c.ID.String()), Found: schema.Of(word), Overrides: r.overrides}
	if len(r.c.Symptoms) > 0 {
		cause.Symptom = schema.Of(r.c.Symptoms)
	}
	if ruledOut = slices.DeleteFunc(slices.Clone(ruledOut), func(w string) bool { return w == word }); len(ruledOut) > 0 {
		cause.RuledOut = schema.Of(ruledOut)
	}
	rec := schema.NewRecord(cause)
	if err := r.onRecord(rec); err != nil {
		return err
	}
	r.say("found    %s behind a bad cut with %s on %s", word, r.c.ID, r.c.Unit)
	if err := r.put(rec, "Record the cause of bad cuts with "+r.c.ID.String()+": "+strings.ReplaceAll(word, "-", " ")+"\n\n"+clean(text)+"\n", stage); err != nil {
		return err
	}
	if err := r.dropDraft(); err != nil {
		return err
	}
	if work, saved := r.unsaved.lib, r.committed.lib; work != nil {
		for _, d := range history.Compare(saved, work) {
			if d.ID == r.c.ID {
				r.say("         the condition was edited and is not saved; if that was for this cut: fettle put-back %s", d.ID)
			}
		}
	}
	if r.verdict.Approved.Answer == triage.IsNotSo {
		r.say("         the recipe is not what is approved; if it was changed for this cut: fettle put-back %s", r.c.ID)
	}
	return nil
}

// forPrograms is a triage as JSON.
func (r *round) forPrograms() any {
	type change struct {
		Field string  `json:"field"`
		From  *string `json:"from"`
		To    *string `json:"to"`
	}
	changes := func(list []history.FieldChange) []change {
		out := []change{}
		for _, c := range list {
			out = append(out, change{c.Path, some(c.From.Text), some(c.To.Text)})
		}
		return out
	}
	type statement struct {
		Answer  triage.Answer `json:"answer"`
		Says    string        `json:"says"`
		Changes []change      `json:"changes"`
	}
	state := func(s triage.Statement) statement { return statement{s.Answer, s.Says, changes(s.Changes)} }
	type line struct {
		Text string `json:"text"`
		Mark string `json:"from"`
	}
	lines := func(list []triage.Line) []line {
		out := []line{}
		for _, l := range list {
			out = append(out, line(l))
		}
		return out
	}
	type check struct {
		Word    string `json:"word"`
		Minutes int    `json:"minutes"`
		First   bool   `json:"first"`
		Found   int    `json:"found_before"`
		How     []line `json:"how"`
		Clears  []line `json:"rules_out"`
		Notes   []line `json:"why"`
	}
	type step struct {
		Field string `json:"field"`
		From  string `json:"from"`
		To    string `json:"to"`
		Why   line   `json:"why"`
		Cut   line   `json:"cut"`
		In    bool   `json:"inside_proven_window"`
	}
	out := struct {
		Format   int               `json:"format"`
		ID       string            `json:"id"`
		Unit     string            `json:"unit"`
		Symptom  []string          `json:"symptom"`
		Stop     []line            `json:"stop"`
		Approved statement         `json:"unchanged_since_approved"`
		Tried    statement         `json:"unchanged_since_good_trial"`
		Loaded   statement         `json:"approved_on_machine"`
		Should   map[string]string `json:"should_show"`
		Checks   []check           `json:"checks"`
		Step     *step             `json:"step"`
		Cautions []line            `json:"cautions"`
	}{1, r.c.ID.String(), r.c.Unit, r.c.Symptoms, lines(r.k.Stop(r.c.Symptoms)), state(r.verdict.Approved), state(r.verdict.Tried), state(r.verdict.Loaded), map[string]string{},
		[]check{}, nil, lines(r.k.Cautions(r.base, r.c.ID.Gas, r.oxygen, r.tasks))}
	if r.verdict.Should != nil {
		for _, f := range schema.Fields(&r.verdict.Should.Condition) {
			if !f.Note {
				out.Should[f.Path] = f.Text
			}
		}
	}
	for _, t := range r.tasks {
		c := check{t.Word, t.Minutes, t.First, 0, lines(t.How), lines(t.Clears), lines(t.Notes)}
		if t.Found != nil {
			c.Found = t.Found.Times
		}
		out.Checks = append(out.Checks, c)
	}
	if advice, _ := r.k.Advise(r.c, &r.verdict); advice != nil && r.verdict.Innocent() && len(r.overrides) == 0 {
		out.Step = &step{advice.Field, advice.From.Text(), advice.To.Text(), line(advice.Why), line(advice.Cut), advice.Window != nil}
	}
	return out
}
