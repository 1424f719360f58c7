package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"runtime/debug"
	"slices"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/serve"
	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/lint"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var listen string
		var hosts []string
		cmd := &cobra.Command{Use: "serve", Short: "a local page to review, decide and look things up", Args: noArgs,
			Long: "Answers on this computer only, at the address that it prints: the queue of what waits, each change with approve and reject, conditions with\n" +
				"figures and history, families, machines, a search; roster, people and settings where they wait. A decision is signed with your key and saved\n" +
				"exactly as fettle approve and fettle reject do. Every page shows the library as it is at that moment.\n" +
				"Without a key of the roster the page only shows. Ctrl-C ends it.\n\n" +
				"Whoever has the printed address can decide in your name while it runs: do not pass it on. --listen with an address of the network opens it to\n" +
				"others, unencrypted; then it only shows.",
			Example: "  fettle serve\n  fettle serve --listen 127.0.0.1:8417\n  fettle serve --listen 0.0.0.0:8417 --host cutting-pc",
			RunE:    func(cmd *cobra.Command, args []string) error { return a.serve(listen, hosts) }}
		cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:0", "address and port; port 0 takes a free one")
		cmd.Flags().StringSliceVar(&hosts, "host", nil, "a name of this computer that browsers use, where --listen is not an address of their own")
		return cmd
	})
}

func (a *app) serve(listen string, hosts []string) error {
	if err := a.oneOf("text"); err != nil {
		return err
	}
	if _, err := a.open(); err != nil {
		return err
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return troublef("Such as: fettle serve --listen 127.0.0.1:8417", "cannot answer on %s: %w", clean(listen), err)
	}
	defer l.Close()
	at := l.Addr().(*net.TCPAddr)
	loopback := at.IP.IsLoopback()
	port := fmt.Sprint(at.Port)
	names := slices.Clone(hosts)
	switch {
	case loopback:
		names = append(names, at.IP.String(), "localhost")
	case !at.IP.IsUnspecified():
		names = append(names, at.IP.String())
	case len(hosts) == 0:
		return troublef("fettle serve --listen "+listen+" --host NAME", "%s is every address of this computer; say by which name browsers will ask", clean(listen))
	}
	var ours []string
	for _, name := range names {
		ours = append(ours, net.JoinHostPort(strings.ToLower(name), port))
		if port == "80" {
			ours = append(ours, strings.ToLower(name))
		}
	}
	debug.SetGCPercent(50) // it stands beside other programs all day; what pages are made of is let go
	desk := a.newDesk()
	errs := a.err
	if f := terminalOf(a.err); f != nil { // the first bar went when the address was printed
		if desk.bar = newProgress(f); desk.bar != nil {
			errs = screen{f, desk.bar}
		}
	}
	server := serve.New(serve.Options{Open: desk.open, Doing: desk.Doing, Keep: true, Hosts: ours, ReadOnly: !loopback, Errors: cleaned{errs}})
	a.copyable("open     http://" + ours[0] + server.Entrance())
	if !loopback {
		a.say("         open to the network and not encrypted: whoever has the address can read, and nobody can decide")
	}
	a.say("stop     Ctrl-C")
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	go func() { // so that a browser finds it
		<-server.Prepare()
		desk.bar.end()
	}()
	defer desk.bar.end()
	if err := server.Serve(ctx, l); err != nil {
		return fmt.Errorf("the page ended: %w", err)
	}
	return nil
}

// cleaned is a stream to a terminal for text that strangers may have a hand in.
type cleaned struct{ io.Writer }

func (w cleaned) Write(p []byte) (int, error) {
	_, err := io.WriteString(w.Writer, clean(strings.TrimRight(string(p), "\n"))+"\n")
	return len(p), err
}

// pageError turns an error of a command into what a page says.
func pageError(err error) error {
	var r *refusal
	var t *trouble
	switch {
	case errors.As(err, &r):
		return &serve.Refusal{Message: r.message, Help: r.help}
	case errors.As(err, &t):
		return &serve.Refusal{Message: err.Error(), Help: t.help}
	}
	return err
}

func (p *pages) Head() (serve.Head, error) {
	h := serve.Head{Library: p.libraryName(p.unsaved.lib), Machines: p.unsaved.lib.MachineNames(), Unsaved: p.edited()}
	if err := standingHolds(p.standing(&p.committed)); err != nil {
		h.ReadOnly = err.Error()
		return h, nil
	}
	person, err := p.decider()
	if err != nil {
		h.ReadOnly = err.Error()
		return h, nil
	}
	h.Person = spoken(person)
	return h, nil
}

// id finds a condition that was typed into an address: only whole ids that the library or its records have.
func (p *pages) id(typed string) (schema.ID, history.Position, error) {
	id, err := schema.ParseID(typed)
	if err == nil {
		all := p.positionsOf()
		if i, ok := p.byID[id]; ok {
			return id, all[i], nil
		}
		if p.unsaved.lib.Recipe(id) != nil {
			return id, history.Position{ID: id, Name: id.String(), Status: history.New}, nil
		}
	}
	return id, history.Position{}, &serve.NotFound{What: "such condition"}
}

func (p *pages) cardOf(typed string) (*serve.Card, error) {
	id, position, err := p.id(typed)
	if err != nil {
		return nil, err
	}
	if position.Kind == "" {
		return nil, &serve.Refusal{Message: id.String() + " is new and not saved; a review is about what is saved", Help: "Save it first: fettle save " + id.String()}
	}
	cards := p.cards(&p.committed, []history.Position{position})
	p.desk.at("reading the history")
	doc, err := p.documentOf(&p.committed, "HEAD", "", nil, cards, p.historyAtHand(), true)
	if err != nil {
		return nil, pageError(err)
	}
	out := &serve.Card{Card: doc.Sets[0].Cards[0], Plots: doc.Sets[0].Plots, Digest: string(sightOf(p.committed.lib, &position)), Open: position.Status != history.Approved && position.Status != history.Rejected}
	out.Card.Decide = nil // there are buttons
	if person, err := p.decider(); err == nil && out.Open && standingHolds(p.standing(&p.committed)) == nil {
		out.Against, out.Help = p.against(schema.KindApproval, &cards[0], person, false)
	}
	return out, nil
}

// Decide runs approve or reject, as somebody at a terminal would.
func (p *pages) Decide(d serve.Decision) (said string, err error) {
	var typed []string
	switch d.Kind {
	case "":
		q, err := p.around(d.ID)
		if err != nil {
			return "", err
		}
		id, position, err := q.id(d.ID)
		if err != nil {
			return "", err
		}
		if position.Kind == "" {
			return "", &serve.Refusal{Message: id.String() + " is not saved", Help: "Save it first: fettle save " + id.String()}
		}
		typed = []string{id.String()}
	default:
		if _, err := p.Subject(d.Kind, d.ID); err != nil {
			return "", err
		}
		typed = strings.Fields(subjectWords(d.Kind, d.ID)) // names have no blanks
	}
	kind := schema.KindRejection
	if d.Approve {
		kind = schema.KindApproval
	} else if d.Because == "" {
		return "", &serve.Refusal{Message: "a rejection needs a reason", Help: "Whoever made the change has to know what to do. Go back and write it down."}
	}
	sub := p.silent()
	seen := schema.Digest(d.Seen)
	if err := sub.decide(kind, typed, decisionFlags{text: d.Because, seen: &seen}); err != nil {
		return "", pageError(err)
	}
	return sub.out.(*bytes.Buffer).String(), nil
}

func (p *pages) condition(typed string) (*serve.Condition, error) {
	id, position, err := p.id(typed)
	if err != nil {
		return nil, err
	}
	c := shownCondition{card: card{Position: position}}
	c.card.base, c.card.decision = position.Base()
	out := &serve.Condition{ID: id.String(), Family: id.Family(), Machine: id.Machine, Status: string(position.Status)}
	if digest, ok := position.State.Digest(); ok && digest != "" {
		out.Code = cardCode(digest)
	}
	if c.recipe = p.unsaved.lib.Recipe(id); c.recipe == nil {
		out.State = "no longer in the files"
	} else {
		before := p.committed.lib.Recipe(id)
		c.saved, c.edited = before != nil, before != nil && before.Digest() != c.recipe.Digest()
		out.State = p.state(&c)
		for _, row := range p.valueRows(c.recipe) {
			out.Values = append(out.Values, view.Row{Label: strings.ReplaceAll(row[0], "_", " "), Text: row[1]})
		}
		out.Figures = p.figureBlocks(lint.Figures(p.unsaved.lib, c.recipe.Values()))
		report, err := p.found()
		if err != nil {
			return nil, pageError(err)
		}
		for _, f := range report.Findings {
			if f.ID == id.String() {
				out.Findings = append(out.Findings, view.ReviewFinding{Severity: f.Severity.String(), Message: f.Message, Rule: f.Rule})
			}
		}
		trials, err := p.evaluate(id)
		if err != nil {
			return nil, pageError(err)
		}
		out.Trials = p.conditionPage(trials)
	}
	if p.historyAtHand() {
		out.Timeline, err = p.history(id)
	}
	return out, err
}

// mostAtOnce is how many conditions a library may have for the history to be read with any page that shows some of it.
const mostAtOnce = 5000

// historyAtHand reports whether the history of a condition is read fast enough to be waited for. Of a part it always is: nothing else is read.
func (p *pages) historyAtHand() bool {
	return p.part != nil || len(p.committed.lib.Recipes) <= mostAtOnce
}

func (p *pages) history(id schema.ID) (*view.Page, error) {
	p.desk.at("reading the history")
	trail, err := p.toldTrail("", []schema.ID{id})
	if err != nil {
		return nil, pageError(err)
	}
	return p.timeline(trail, audit.Filter{IDs: []schema.ID{id}}), nil
}

// historyOf is the timeline of a condition alone, for libraries whose history takes long to read.
func (p *pages) historyOf(typed string) (*serve.Condition, error) {
	id, position, err := p.id(typed)
	if err != nil {
		return nil, err
	}
	timeline, err := p.history(id)
	return &serve.Condition{ID: id.String(), Family: id.Family(), Machine: id.Machine, Status: string(position.Status), Timeline: timeline}, err
}

// figureBlocks are figures as a page shows them.
func (p *pages) figureBlocks(figures []lint.Figure) (out []view.FigureBlock) {
	for _, f := range figures {
		name := strings.ReplaceAll(schema.SpokenPath(f.Block), "_", " ")
		if len(out) == 0 || out[len(out)-1].Name != name {
			out = append(out, view.FigureBlock{Name: name})
		}
		f = inUnits(f, p.prefs())
		x := view.Figure{Name: f.Name, Value: strings.TrimSpace(lint.Digits(f.Value) + " " + f.Unit), Note: f.Note}
		x.Share, x.Ranged = f.Share()
		switch sits := f.Sits(); {
		case sits == "":
		case x.Ranged:
			x.Range = lint.Digits(f.Low) + " to " + lint.Digits(f.High)
			if sits == "below" || sits == "above" {
				x.Range += ", " + sits
			}
		default: // one end, as a terminal has it
			_, x.Range, _ = strings.Cut(figureLine(lint.Figure{Name: "|", Value: f.Value, Low: f.Low, High: f.High, Unit: "|"}), "|")
			_, x.Range, _ = strings.Cut(x.Range, "|")
			x.Range = strings.TrimSpace(x.Range)
		}
		block := &out[len(out)-1]
		block.Figures = append(block.Figures, x)
	}
	return out
}

// members are recipes of the files in a list, with how they stand, what is loaded and what was accepted.
func (p *pages) members(recipes []*schema.Recipe) (out []serve.Member) {
	standing := p.standing(&p.committed)
	for _, r := range recipes {
		position := standing.Position(p.unsaved.lib, r.ID)
		m := serve.Member{ID: r.ID.String(), Name: strings.Split(r.ID.String(), "/")[3], Status: string(position.Status), Values: p.oneLine(r.Values())}
		inForce, _ := position.State.Digest()
		var parts []string
		for unit, l := range p.loadedLast(m.ID) {
			text := fmt.Sprintf("%s since %s", unit, p.day(l.At))
			if l.Digest != inForce {
				text += ", NOT what is in force"
			}
			parts = append(parts, text)
		}
		slices.Sort(parts)
		m.Loaded = strings.Join(parts, "; ")
		m.Waived = p.waived(r)
		out = append(out, m)
	}
	return out
}

// waived are the findings that somebody accepted on a recipe, with when that ends.
func (p *pages) waived(r *schema.Recipe) string {
	var parts []string
	for _, w := range p.accepted(r.ID.String()) {
		if w.Digest.V == string(r.Digest()) && w.Until.V > p.now().UTC().Format("2006-01-02T15:04:05Z") {
			parts = append(parts, w.Rule.V+" until "+p.moment(w.Until.V))
		}
	}
	return strings.Join(parts, "; ")
}

func (p *pages) family(name string) (*serve.Family, error) {
	lib := p.unsaved.lib
	for _, family := range lib.Families() {
		if family[0].ID.Family() != name {
			continue
		}
		out := &serve.Family{Name: name, Machine: family[0].ID.Machine, Members: p.members(family)}
		out.Plot.Chart.Title = name
		if family[0].Severs() {
			out.Plot.Chart = p.chart(familyCurves{name, lint.Curves(lib, p.committed.lib, family), p.states(lib, family)}, nil, true)
		}
		return out, nil
	}
	return nil, &serve.NotFound{What: "such family"}
}

func (p *pages) machine(name string) (*serve.Machine, error) {
	lib := p.unsaved.lib
	m := lib.Machine(name)
	if m == nil {
		return nil, &serve.NotFound{What: "such machine"}
	}
	out := &serve.Machine{Name: name}
	counts := map[string]int{}
	loaded, odd, waived, total := 0, 0, 0, 0
	for _, family := range lib.Families() {
		if family[0].ID.Machine != name {
			continue
		}
		f := serve.Family{Name: family[0].ID.Family(), Machine: name, Members: p.members(family)}
		for _, x := range f.Members {
			total++
			counts[x.Status]++
			if x.Loaded != "" {
				loaded++
			}
			if strings.Contains(x.Loaded, "NOT") {
				odd++
			}
			if x.Waived != "" {
				waived++
			}
		}
		out.Families = append(out.Families, f)
	}
	parts := []string{}
	for _, status := range []history.Status{history.Approved, history.Changed, history.New, history.Stale, history.Rejected, history.Contested, history.Superseded} {
		if n := counts[string(status)]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, status))
		}
	}
	out.Summary = []string{counted(total, "condition") + ": " + strings.Join(parts, ", ") + "."}
	line := "No load is on record."
	if loaded > 0 {
		line = fmt.Sprintf("%d on record as loaded, %d of them with another recipe than the one in force.", loaded, odd)
	}
	if waived > 0 {
		line += fmt.Sprintf(" %s with an accepted finding.", counted(waived, "condition"))
	}
	out.Summary = append(out.Summary, line)
	for _, o := range p.standing(&p.committed).Others(p.committed.lib) {
		if o.Kind == schema.SubjectMachine && o.Name == name {
			out.Waits = string(o.Status)
		}
	}
	out.Facts = machineFacts(m)
	return out, nil
}

// machineFacts are the values of a profile, a row a block, as they were written.
func machineFacts(m *schema.Machine) []view.Row {
	facts := []view.Row{{Label: "units", Text: strings.Join(m.UnitNames(), ", ")}}
	var nozzles []string
	for _, n := range m.Optics.V.Nozzles.V {
		nozzles = append(nozzles, n.Form.V+" "+n.Orifice.V.Text())
	}
	facts = append(facts, view.Row{Label: "nozzles", Text: strings.Join(nozzles, ", ")})
	for _, f := range schema.Fields(m) {
		label, rest, _ := strings.Cut(f.Path, ".")
		if slices.Contains([]string{"kind", "format", "name"}, label) || strings.HasPrefix(label, "units") || strings.HasPrefix(rest, "nozzles") {
			continue
		}
		value := f.Text
		if strings.HasSuffix(rest, "_range") {
			value = strings.Replace(value, ", ", " to ", 1)
		}
		text := strings.TrimSpace(strings.NewReplacer("_", " ", ".", " ").Replace(rest) + " " + value)
		switch last := &facts[len(facts)-1]; {
		case last.Label == label:
			last.Text += ", " + text
		default:
			facts = append(facts, view.Row{Label: label, Text: text})
		}
	}
	return facts
}

// mostHits is how many conditions a search shows.
const mostHits = 200

func (p *pages) Search(query string) ([]serve.Hit, error) {
	if query == "" {
		return nil, nil
	}
	rows, err := p.named()
	if err != nil {
		return nil, pageError(err)
	}
	all := make([]schema.ID, len(rows))
	for i, r := range rows {
		all[i] = r.id
	}
	if code, ok := readCardCode(query); ok && len(matching(query, all)) == 0 {
		near, err := p.coded(code)
		if err != nil {
			return nil, pageError(err)
		}
		q, id, digest, err := near.codedRecipe(code)
		if err != nil {
			return nil, nil
		}
		return []serve.Hit{{ID: id.String(), Status: "card", Values: code + ": " + q.stateOfCard(code, id, digest).State}}, nil
	}
	ids := matching(query, all)
	found := make(map[schema.ID]bool, len(ids))
	for _, id := range ids {
		found[id] = true
	}
	typed := strings.Fields(strings.ToLower(query))
	for i, id := range all {
		text := strings.ToLower(id.String()) + " " + rows[i].words
		if !found[id] && !slices.ContainsFunc(typed, func(w string) bool { return !strings.Contains(text, w) }) {
			ids = append(ids, id)
		}
	}
	ids = ids[:min(len(ids), mostHits)]
	q, err := p.nearEach(ids)
	if err != nil {
		return nil, pageError(err)
	}
	return q.hits(ids), nil
}

// hits are conditions as a search shows them.
func (p *pages) hits(ids []schema.ID) []serve.Hit {
	var out []serve.Hit
	standing := p.standing(&p.committed)
	for _, id := range ids {
		hit := serve.Hit{ID: id.String()}
		if r := p.unsaved.lib.Recipe(id); r != nil {
			hit.Status, hit.Values = string(standing.Position(p.unsaved.lib, id).Status), p.oneLine(r.Values())
		} else {
			hit.Status = string(history.Removed)
		}
		out = append(out, hit)
	}
	return out
}
