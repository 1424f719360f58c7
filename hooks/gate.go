package hooks

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// A Move is one branch that a push moves.
type Move struct {
	Ref      string // full name: refs/heads/main
	Old, New string // commits; "" or all zeros where there is no such branch before, or after
}

// GateOptions say how a gate judges. The zero value is a server that knows its own branches.
type GateOptions struct {
	At        time.Time
	Known     []git.Ref // branches as they stood before the push; nil for those of the repository
	Protected bool      // every branch counts as a protected one
	FromOld   bool      // every branch is judged from its old tip on, as a build job says it
	Undecided bool      // what nobody approved yet may move too, as where something came in and is only looked at
	Memory    bool      // what it read is remembered below the directory of the repository; see [Ruling.quickly]
	Brief     bool      // it is printed, and not asked for all its charges
	Render    func(io.Writer, lint.Finding)
}

// A Gate judges what is pushed. What it reads for one branch it need not read again for the next.
type Gate struct {
	GateOptions
	repo  *git.Repo
	store *store
	pins  func() ([]string, error) // adoptions that this repository pins

	known     func() ([]git.Ref, error)
	fallback  func() (string, error) // the branch that counts as protected where no settings name one
	protected map[string][]string    // by commit: what its settings name
	settings  *settingsFiles         // that are remembered, nil for none
	partsFrom int                    // [partsFrom], but for tests
}

// NewGate makes a gate for a repository. On a server, open the repository with [git.NoReplace]: what is pushed could replace an
// object by another one otherwise.
func NewGate(repo *git.Repo, o GateOptions) *Gate {
	g := &Gate{GateOptions: o, repo: repo, store: newStore(repo), protected: map[string][]string{}, partsFrom: partsFrom}
	g.store.spare = history.NewSparing()
	g.pins = sync.OnceValues(func() ([]string, error) { return repo.ConfigAll("fettle.anchor") })
	go g.pins() // a child of its own, so it runs while trees are read
	if o.Memory {
		g.settings = g.recallSettings()
	}
	g.known = sync.OnceValues(func() ([]git.Ref, error) {
		if o.Known != nil {
			return o.Known, nil
		}
		return repo.Refs(branches)
	})
	g.fallback = sync.OnceValues(func() (string, error) {
		_, branch, _, detached, err := repo.Head()
		if detached { // as in a build job: nobody says which branch is the main one, so all of them are
			branch = "*"
		}
		return branch, err
	})
	return g
}

// JudgeRange judges the way of one branch from old to new, as a gate does for each branch of a push.
func JudgeRange(repo *git.Repo, ref, old, new string, o GateOptions) (*Ruling, error) {
	return NewGate(repo, o).Judge(Move{ref, old, new})
}

// A Ruling is what a gate says of one branch.
type Ruling struct {
	Move
	Branch    string // short name
	Protected bool
	Commits   int    // that were looked at
	Base      string // the state that the new one is held against; "" for the empty one

	gate     *Gate
	quick    bool // nothing but what is remembered and what bears on the changes was read
	way      *way
	verdicts []*verdict
	breaks   []broken // records that a commit on the way altered or removed
	denied   []string // why the branch may not move like this at all
	advice   []string
	notes    []string
}

// Refused reports whether the branch must not move.
func (r *Ruling) Refused() bool {
	return len(r.denied)+len(r.breaks) > 0 || slices.ContainsFunc(r.verdicts, func(v *verdict) bool { return len(v.blocking()) > 0 })
}

// branches is where git keeps them. Tags and notes carry nothing that anybody cuts with.
const branches = "refs/heads/"

// Judge judges one branch. The state it comes to is held against the state it comes from by the same rules as a commit, and on a
// protected branch every changed recipe, profile, roster and setting must be approved too. Every single commit on the way must
// leave saved records alone. An error means that something could not be read; then nothing may move.
//
// A protected branch is judged from its old tip on, wherever its commits were before. Any other is judged from where it left the
// protected ones: that is what it would bring them.
func (g *Gate) Judge(m Move) (*Ruling, error) {
	m.Old, m.New = nonzero(m.Old), nonzero(m.New)
	r := &Ruling{Move: m, gate: g}
	var is bool
	if r.Branch, is = strings.CutPrefix(m.Ref, branches); !is || m.Old == m.New {
		return r, nil
	}
	if m.New != "" {
		commit, err := g.repo.Resolve(m.New)
		if err != nil {
			return nil, err
		}
		m.New = commit
	}
	if m.Old != "" {
		commit, err := g.repo.Resolve(m.Old)
		if errors.Is(err, git.ErrUnknownRevision) {
			return nil, &git.Error{Kind: git.ErrUnknownRevision, What: "the commit " + short(m.Old) + " that " + r.Branch + " stood at is not here, so what is new cannot be told",
				Help: "git fetch --unshallow, or fetch that commit", Err: err}
		}
		if err != nil {
			return nil, err
		}
		m.Old = commit
	}
	r.Move = m
	if err := r.classify(); err != nil {
		return nil, err
	}
	if m.New == "" {
		return r, r.judgeDeletion()
	}
	hide, err := r.chooseBase()
	if err != nil {
		return nil, err
	}
	walked := make(chan error, 1)
	go func() { // a child of its own, so it runs while the library is read
		var err error
		r.way, err = g.walk(m.New, hide)
		walked <- err
	}()
	wait := sync.OnceValue(func() error { return <-walked })
	err = r.judgeLibraries(wait)
	if err = errors.Join(err, wait()); err != nil {
		return nil, err
	}
	if g.Memory && r.Protected {
		g.rememberSettings(m.Old)
	}
	if afterGate != nil {
		afterGate(r)
	}
	return r, nil
}

// afterGate is for tests, which hold every ruling to one that rests on what is remembered, and the other way round.
var afterGate func(*Ruling)

// judgeLibraries comes to the verdicts. The commits on the way are known after the wait.
func (r *Ruling) judgeLibraries(wait func() error) error {
	running, err := r.running()
	if err != nil {
		return err
	}
	roots, err := running.roots()
	if err != nil {
		return err
	}
	if r.gate.Memory && len(roots) == 1 && r.Base != "" {
		v, err := r.quickly(running, roots[0], wait)
		if err != nil {
			return err
		}
		if v != nil {
			r.verdicts, r.quick = []*verdict{v}, true
			if err := r.conclude(); err != nil || !r.Refused() {
				return err
			}
			r.verdicts, r.quick, r.denied, r.advice, r.breaks = nil, false, nil, nil, nil // what refuses a push is told from the whole
		}
	}
	libraries, err := running.libraries(roots)
	if err = errors.Join(err, wait()); err != nil {
		return err
	}
	for _, l := range libraries {
		v, err := r.judge(running, l)
		if err != nil {
			return err
		}
		r.verdicts = append(r.verdicts, v)
	}
	return r.conclude()
}

// conclude adds what the commits on the way say.
func (r *Ruling) conclude() error {
	r.Commits = len(r.way.commits)
	if err := r.judgeRewrite(); err != nil {
		return err
	}
	r.breaks = r.way.broken(r.verdicts)
	r.look()
	return nil
}

func nonzero(commit string) string {
	if strings.Trim(commit, "0") == "" {
		return ""
	}
	return commit
}

func short(commit string) string { return commit[:min(len(commit), 12)] }

// classify works out whether the branch is a protected one: by the settings of any library where it stood, on the main branch of
// the repository, and where it goes. So a push cannot take the protection away that would have stopped it.
func (r *Ruling) classify() error {
	if r.Protected = r.gate.Protected; r.Protected {
		return nil
	}
	tips := []string{r.Old, r.New}
	if main, _, unborn, _, err := r.gate.repo.Head(); err != nil {
		return err
	} else if !unborn {
		tips = append(tips, main)
	}
	for _, tip := range tips {
		names, err := r.gate.namedAt(tip)
		if err != nil {
			return err
		}
		r.Protected = r.Protected || Names(names, r.Branch)
	}
	return nil
}

// namedAt returns the protected branches that the libraries of a commit name.
func (g *Gate) namedAt(commit string) ([]string, error) {
	if commit == "" {
		return nil, nil
	}
	if known, ok := g.protected[commit]; ok {
		return known, nil
	}
	files, err := g.settingsIn(commit)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, id := range slices.Sorted(maps.Values(files)) {
		data, err := g.repo.Blob(id)
		if err != nil {
			return nil, err
		}
		settings, _ := schema.ReadFile(schema.SettingsFile, data).Value.(*schema.Settings)
		more, err := g.named(settings)
		if err != nil {
			return nil, err
		}
		names = append(names, more...)
	}
	g.protected[commit] = names
	return names, nil
}

// named returns the branches that settings protect: the main branch of the repository where they say nothing.
func (g *Gate) named(settings *schema.Settings) ([]string, error) {
	if settings != nil && settings.Policy.V.Protected.Set() {
		return settings.Policy.V.Protected.V, nil
	}
	main, err := g.fallback()
	return []string{main}, err
}

// Names reports whether a branch is one of those that a policy names; a name may hold the wildcards of a shell: release/*.
func Names(names []string, branch string) bool {
	return slices.ContainsFunc(names, func(name string) bool {
		ok, err := path.Match(name, branch)
		return name == branch || err == nil && ok
	})
}

// judgeDeletion refuses to remove a protected branch: with it go records that nobody else may have.
func (r *Ruling) judgeDeletion() error {
	if !r.Protected {
		return nil
	}
	allowed, err := r.gate.allows("fettle.delete-protected", "refuse")
	if err != nil || allowed {
		return err
	}
	r.denied = append(r.denied, r.Branch+" is a protected branch and cannot be removed: approvals and reasons would be lost with it")
	r.advice = append(r.advice, "whoever runs the server can allow it:", "  git config fettle.delete-protected allow")
	return nil
}

// judgeRewrite holds a protected branch that goes on from somewhere else than its tip to the policy of the server. What it must
// keep is judged with everything else: the old tip is what the new one is held against.
func (r *Ruling) judgeRewrite() error {
	if !r.Rewrites() || !r.Protected {
		return nil
	}
	allowed, err := r.gate.allows("fettle.rewrite-protected", "allow")
	if err != nil || allowed {
		return err
	}
	r.denied = append(r.denied, r.Branch+" is a protected branch, and this push would take saved commits out of it")
	r.advice = append(r.advice, "bring in what others shared, then push without force:", "  git pull --no-rebase", "  git push",
		"whoever runs the server can allow it:", "  git config fettle.rewrite-protected allow")
	return nil
}

// Rewrites reports whether the branch leaves its old tip behind.
func (r *Ruling) Rewrites() bool {
	return r.Old != "" && r.New != "" && r.way != nil && !r.way.follows[r.Old]
}

// allows reads a setting of the server whose values are allow and refuse.
func (g *Gate) allows(key, otherwise string) (bool, error) {
	value, _, err := g.repo.Config(key)
	if err != nil {
		return false, err
	}
	switch value = cmp.Or(value, otherwise); value {
	case "allow", "refuse":
		return value == "allow", nil
	}
	return false, fmt.Errorf("git config %s is %q; it can be allow or refuse", key, value)
}

// chooseBase says what the new state is held against, and which commits were judged before.
func (r *Ruling) chooseBase() (hide []string, err error) {
	if r.Old != "" && (r.Protected || r.gate.FromOld) {
		r.Base = r.Old
		return []string{r.Old}, nil
	}
	tips, err := r.gate.protectedTips()
	if err != nil {
		return nil, err
	}
	for _, tip := range tips {
		base, err := r.gate.repo.MergeBase(tip, r.New)
		if err != nil {
			return nil, err
		}
		if base == "" {
			continue
		}
		nearer := r.Base == ""
		if !nearer && base != r.Base {
			if nearer, err = r.gate.repo.IsAncestor(r.Base, base); err != nil {
				return nil, err
			}
		}
		if nearer {
			r.Base = base
		}
	}
	return tips, nil
}

// protectedTips are the commits at which protected branches stand.
func (g *Gate) protectedTips() ([]string, error) {
	refs, err := g.known()
	if err != nil || len(refs) == 0 {
		return nil, err
	}
	main, err := g.fallback()
	if err != nil {
		return nil, err
	}
	names := []string{main}
	for _, ref := range refs {
		if ref.Name == branches+main {
			if names, err = g.namedAt(ref.Hash); err != nil {
				return nil, err
			}
		}
	}
	var tips []string
	for _, ref := range refs {
		if branch, ok := strings.CutPrefix(ref.Name, branches); ok && Names(names, branch) && !slices.Contains(tips, ref.Hash) {
			tips = append(tips, ref.Hash)
		}
	}
	return tips, nil
}

// running knows what the new state changes against the base.
func (r *Ruling) running() (*running, error) {
	g := r.gate
	changes, err := g.repo.ChangedPaths(r.Base, r.New)
	return &running{Call: Call{Render: g.Render, At: g.At}, repo: g.repo, store: g.store, head: r.Base, changes: changes, pushed: true,
		makes: g.Memory && r.Protected, partsFrom: g.partsFrom, brief: g.Brief, protected: r.Protected}, err
}

// judge comes to the verdict on one library.
func (r *Ruling) judge(running *running, l *library) (*verdict, error) {
	anchor, err := r.anchor(l)
	if err != nil {
		return nil, err
	}
	l.prepare = r.prepare(l)
	return running.judge(l, anchor)
}

// prepare adds to a case what the push and the settings in force say of it.
func (r *Ruling) prepare(l *library) preparation {
	return func(c *Case, standing *history.Standing) error {
		if standing.Anchor == nil {
			return nil
		}
		names, err := r.gate.named(standing.Settings)
		if err != nil {
			return err
		}
		c.Approved = (r.Protected || Names(names, r.Branch)) && !r.gate.Undecided
		c.Explained = func(d history.Difference) bool { return r.way.explained(r, l, c, d) }
		c.Wrote = func(id schema.ID, d schema.Digest) []string { return r.way.wrote(l, c, standing, id, d) }
		return nil
	}
}

// anchor is the adoption that a library must be chained from: one that the server pins, or else the one that the old state was
// chained from, so that a push cannot bring a new beginning with a roster of its own.
func (r *Ruling) anchor(l *library) (string, error) {
	pins, err := r.gate.pins()
	if err != nil {
		return "", err
	}
	if len(pins) > 0 {
		ledger, err := r.gate.store.ledger(l.now)
		if err != nil {
			return "", err
		}
		return pinned(pins, func(pin schema.Digest) bool { return ledger.Get(pin) != nil }), nil
	}
	if id := l.before.settingsID(); id != "" {
		if sameAdoptions(l.before, l.now) {
			return "", nil // the one that counted is the one that counts
		}
		return r.gate.adoption(l.before, id)
	}
	// A branch that has nothing in common with the protected ones, and yet a library of theirs.
	tips, err := r.gate.protectedTips()
	if err != nil {
		return "", err
	}
	for _, tip := range tips {
		t, err := r.gate.store.saved(tip, l.root)
		if err != nil {
			return "", err
		}
		if err := r.gate.store.fill(settings, t); err != nil {
			return "", err
		}
		if id := t.settingsID(); id != "" && id == l.now.settingsID() {
			return r.gate.adoption(t, id)
		}
	}
	return "", nil
}

// pinned is the adoption among those pinned that is there; the first where none is.
func pinned(pins []string, there func(schema.Digest) bool) string {
	for _, pin := range pins {
		if there(schema.Digest(pin)) {
			return pin
		}
	}
	return pins[0]
}

// sameAdoptions reports whether two trees hold the same adoptions, by their names and contents. What is no adoption by its name counts
// as none, whatever it holds.
func sameAdoptions(a, b *tree) bool {
	of := func(t *tree) map[string]string {
		out := map[string]string{}
		for p, id := range t.ids {
			if schema.IsRecordPath(p) && adopts(p) {
				out[p] = id
			}
		}
		return out
	}
	return maps.Equal(of(a), of(b))
}

// adoption is the digest of the adoption that counts in a tree, "" where none does.
func (g *Gate) adoption(t *tree, id string) (string, error) {
	ledger, err := g.store.ledger(t)
	if err != nil {
		return "", err
	}
	adoptions := ledger.Without(func(r *schema.Record) bool { return r.Kind != schema.KindAdoption })
	if anchor := adoptions.Judge(id, "").Anchor; anchor != nil {
		return string(anchor.Digest), nil
	}
	return "", nil
}
