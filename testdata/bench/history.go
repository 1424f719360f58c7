package main

import (
	"bufio"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/history/signature"
	"fettle/schema"
)

// A size is one library to make. Edits come first, as years before fettle was there; then all or a part of the conditions is adopted,
// and edits with their reasons, trials and approvals follow.
type size struct {
	name     string
	machines int // of ten sets each
	points   int // conditions in a set
	commits  int
	records  int
	adopted  int    // conditions that the adoption holds at most
	below    string // directory of the library in its repository
	others   int    // files that are no part of it
}

// sizes are S and L for a shop and a group of shops over years, M for a library in a repository of something else. Their growth series
// are S and L at a quarter and a sixteenth.
var sizes = []size{
	{name: "S", machines: 20, points: 25, commits: 20000, records: 2000, adopted: 5000},
	{name: "S4", machines: 5, points: 25, commits: 5000, records: 500, adopted: 1250},
	{name: "S16", machines: 2, points: 16, commits: 1250, records: 125, adopted: 320},
	{name: "L", machines: 200, points: 50, commits: 200, records: 20000, adopted: 2500},
	{name: "L4", machines: 50, points: 50, commits: 200, records: 5000, adopted: 2500},
	{name: "L16", machines: 12, points: 50, commits: 200, records: 1250, adopted: 2500},
	{name: "M", machines: 2, points: 25, commits: 300, records: 100, adopted: 500, below: "cutting", others: 100000},
}

// Persons of the bench. Keys follow from their names.
const (
	author = "mara@bench.example"
	lead   = "jonas@bench.example"
)

func key(principal string) ed25519.PrivateKey {
	seed := sha256.Sum256([]byte("bench key of " + principal))
	return ed25519.NewKeyFromSeed(seed[:])
}

func signer(principal string) signature.Signer { return signature.NewSigner(key(principal)) }

// A set is one file and what it holds.
type set struct {
	path, machine string
	process
	list []condition
}

func (s *set) text() []byte { return []byte(s.process.text(s.machine, s.list)) }

// A maker writes one library as a stream for git fast-import.
type maker struct {
	size
	random *rand.Rand
	out    *bufio.Writer
	at     time.Time
	id     string
	sets   []*set
	heads  map[string]string // newest decision on each condition
	files  map[string][]byte // settings, machines and rosters
}

// make builds the repository in dir.
func (z size) make(dir string) error {
	if err := git(dir, nil, "init", "-q", "--template=", "--initial-branch=main"); err != nil {
		return err
	}
	for _, c := range [][2]string{{"user.name", "Mara Lind"}, {"user.email", author}, {"gc.auto", "0"}, {"core.autocrlf", "false"}, {"commit.gpgSign", "false"}} {
		if err := git(dir, nil, "config", c[0], c[1]); err != nil {
			return err
		}
	}
	read, write := io.Pipe()
	made := make(chan error, 1)
	go func() {
		m := &maker{size: z, random: rand.New(rand.NewPCG(1, uint64(len(z.name)))), out: bufio.NewWriterSize(write, 1<<20), heads: map[string]string{},
			at: time.Date(2019, 3, 4, 6, 0, 0, 0, time.UTC), files: map[string][]byte{}}
		err := m.tell()
		made <- errors.Join(err, write.CloseWithError(err))
	}()
	err := git(dir, read, "fast-import", "--quiet", "--done", "--date-format=raw")
	read.CloseWithError(errors.New("git fast-import ended"))
	if err = errors.Join(<-made, err); err != nil {
		return err
	}
	if err := git(dir, nil, "reset", "-q", "--hard"); err != nil {
		return err
	}
	// What fast-import wrote is packed as git packs what it finds loose, and then kept as git keeps a repository after years.
	if err := git(dir, nil, "repack", "-q", "-a", "-d", "-f", "--depth=50", "--window=10"); err != nil {
		return err
	}
	return git(dir, nil, "gc", "--quiet")
}

func git(dir string, in io.Reader, args ...string) error {
	cmd := exec.Command("git", args...)
	cmd.Dir, cmd.Stdin = dir, in
	cmd.Env = append(os.Environ(), "GIT_CONFIG_GLOBAL="+os.DevNull, "GIT_CONFIG_NOSYSTEM=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("git %s: %w\n%s", args[0], err, out)
	}
	return nil
}

func (m *maker) tell() error {
	if err := m.start(); err != nil {
		return err
	}
	after := m.commits / 2 // years of fettle
	if m.records < m.commits {
		after = m.records
	}
	for range m.commits - after - 2 {
		s, i := m.pick()
		s.list[i].nudge(m.random)
		m.commit(author, "Tune "+m.condition(s, i), map[string][]byte{s.path: s.text()})
	}
	if err := m.adopt(); err != nil {
		return err
	}
	for n := range after {
		if err := m.cycle(n, m.records*(n+1)/after-m.records*n/after); err != nil {
			return err
		}
	}
	m.out.WriteString("done\n")
	return m.out.Flush()
}

// start is the first commit: everything as it was found.
func (m *maker) start() error {
	m.out.WriteString("feature done\n")
	for n := range m.machines {
		name := fmt.Sprintf("bay-%03d", n+1)
		m.files["machines/"+name+".json"] = []byte(strings.ReplaceAll(machineText, "MACHINE", name))
		for _, p := range processes {
			s := &set{path: fmt.Sprintf("sets/%s/%s-%s.json", name, p.material, p.gas), machine: name, process: p, list: p.family(m.points)}
			m.sets = append(m.sets, s)
		}
	}
	m.files[schema.SettingsFile] = []byte(settingsText)
	var approvers, people string
	for _, who := range []string{lead, author} {
		line, err := signature.FormatLine(who, signer(who).PublicKey(), "")
		if err != nil {
			return err
		}
		people += line + "\n"
		if who == lead {
			approvers += line + "\n"
		}
	}
	m.files["approvers"], m.files["people"] = []byte(approvers), []byte(people)
	changed := map[string][]byte{}
	for p, data := range m.files {
		changed[p] = data
	}
	for i, s := range m.sets {
		data := s.text()
		if i < len(processes) {
			f := schema.ReadFile(s.path, data)
			if len(f.Problems) > 0 {
				return fmt.Errorf("%s: %v", s.path, f.Problems)
			}
			if got := schema.Layout(f.Root()); string(got) != string(data) {
				return fmt.Errorf("%s is not laid out as fettle lays it out:\n%s", s.path, got)
			}
		}
		changed[s.path] = data
	}
	settings := schema.ReadFile(schema.SettingsFile, m.files[schema.SettingsFile])
	m.id = settings.Value.(*schema.Settings).ID.V
	outside := map[string][]byte{}
	for i := range m.others {
		outside[fmt.Sprintf("src/d%03d/f%05d.txt", i%1000, i)] = fmt.Appendf(nil, "%d\n", i)
	}
	m.write(author, "Add all conditions", changed, outside)
	return nil
}

func (m *maker) pick() (*set, int) {
	s := m.sets[m.random.IntN(len(m.sets))]
	return s, m.random.IntN(len(s.list))
}

// adopted is one that the adoption holds.
func (m *maker) pickAdopted() (*set, int) {
	n := min(len(m.sets), m.size.adopted/m.points)
	s := m.sets[m.random.IntN(n)]
	return s, m.random.IntN(len(s.list))
}

func (m *maker) condition(s *set, i int) string {
	return fmt.Sprintf("%s/%s/%s/%smm", s.machine, s.material, s.gas, digits(s.list[i].thickness, 5))
}

// library is the part of it that the given sets are read with.
func (m *maker) library(sets ...*set) (*schema.Library, error) {
	files := source{}
	for p, data := range m.files {
		files[p] = data
	}
	for _, s := range sets {
		files[s.path] = s.text()
	}
	return schema.ReadLibrary(files)
}

// around is the settings, the machine and the set of one condition.
func (m *maker) around(s *set) (*schema.Library, error) {
	machine := "machines/" + s.machine + ".json"
	return schema.ReadLibrary(source{schema.SettingsFile: m.files[schema.SettingsFile], machine: m.files[machine], s.path: s.text()})
}

type source map[string][]byte

func (s source) Files() []string {
	names := make([]string, 0, len(s))
	for p := range s {
		names = append(names, p)
	}
	slices.Sort(names)
	return names
}
func (s source) Read(p string) ([]byte, error) { return s[p], nil }

func (m *maker) common(kind, by, text string) schema.Common {
	return schema.Common{Head: schema.Head{Kind: schema.Of(kind), Format: schema.Of(1)}, Library: schema.Of(m.id),
		At: schema.Of(m.at.Format(time.RFC3339)), By: schema.Of(by), Text: schema.Of(text)}
}

func sign(body schema.Body, by string) (*schema.Record, error) {
	r := schema.NewRecord(body)
	armored, err := signer(by).Sign(r.Message)
	if err != nil {
		return nil, err
	}
	r.Common.Signature = schema.Of(armored)
	return schema.NewRecord(body), nil
}

func (m *maker) adopt() error {
	lib, err := m.library(m.sets[:min(len(m.sets), m.size.adopted/m.points)]...)
	if err != nil {
		return err
	}
	d := &schema.Decision{Common: m.common(schema.KindAdoption, lead, "As the shop cuts."), Subjects: schema.Of(history.CurrentSubjects(lib))}
	r, err := sign(d, lead)
	if err != nil {
		return err
	}
	for _, s := range d.Subjects.V {
		m.heads[s.Kind.V+" "+s.ID.V] = string(r.Digest)
	}
	m.commit(lead, "Adopt all conditions", map[string][]byte{r.Path: r.Bytes()})
	return nil
}

// cycle is one commit with so many records: an edit with its reason, its approval in a later commit, and a trial now and then.
func (m *maker) cycle(n, records int) error {
	changed := map[string][]byte{}
	for k := range records {
		m.at = m.at.Add(time.Second)
		s, i := m.pickAdopted()
		id, err := schema.ParseID(m.condition(s, i))
		if err != nil {
			return err
		}
		was, err := m.around(s)
		if err != nil {
			return err
		}
		var r *schema.Record
		switch (n + k) % 3 {
		case 0, 1:
			s.list[i].nudge(m.random)
			is, err := m.around(s)
			if err != nil {
				return err
			}
			from, to := was.Recipe(id), is.Recipe(id)
			if from == nil || to == nil {
				return fmt.Errorf("%s is not there", id)
			}
			if (n+k)%3 == 0 || records == 1 {
				r = schema.NewRecord(&schema.Reason{Common: m.common(schema.KindReason, author, "Dross on the back edge."), Cause: schema.Of("quality-target"),
					RuledOut: schema.Of([]string{"nozzle-wear"}),
					Changes:  schema.Of([]schema.Change{{ID: schema.Of(id.String()), From: schema.Of(string(from.Digest())), To: schema.Of(string(to.Digest()))}})})
			} else {
				d := &schema.Decision{Common: m.common(schema.KindApproval, lead, "Looked at the edge."), Subjects: schema.Of([]schema.Subject{history.ConditionSubject(is, to)})}
				d.Follows = schema.Of([]string{m.heads["condition "+id.String()]})
				if r, err = sign(d, lead); err != nil {
					return err
				}
				m.heads["condition "+id.String()] = string(r.Digest)
			}
			changed[s.path] = s.text()
		default:
			recipe := was.Recipe(id)
			step := schema.Step{Outcome: schema.Of("good")}
			c := m.common(schema.KindTrial, author, "Clean edge.")
			c.Unit = schema.Of(s.machine)
			r = schema.NewRecord(&schema.Trial{Common: c, ID: schema.Of(id.String()), Digest: schema.Of(string(recipe.Digest())), Values: schema.Of(*recipe.Values()),
				MachineValues: schema.Of(was.Machine(id.Machine).BeamAndJet(id.Gas)), Steps: schema.Of([]schema.Step{step})})
		}
		if back := schema.ReadRecord(r.Path, r.Bytes()); len(back.Problems) > 0 {
			return fmt.Errorf("%s: %v", r.Path, back.Problems)
		}
		changed[r.Path] = r.Bytes()
	}
	m.commit(author, fmt.Sprintf("Work of day %d", n), changed)
	return nil
}

func (m *maker) commit(by, message string, changed map[string][]byte) {
	m.write(by, message, changed, nil)
}

// write adds a commit to the stream. Files of the library go below its directory.
func (m *maker) write(by, message string, library, outside map[string][]byte) {
	m.at = m.at.Add(time.Duration(1+m.random.IntN(180)) * time.Minute)
	who := fmt.Sprintf("%s <%s> %d +0000\n", strings.ToUpper(by[:1])+by[1:strings.IndexByte(by, '@')], by, m.at.Unix())
	fmt.Fprintf(m.out, "commit refs/heads/main\nauthor %scommitter %sdata %d\n%s\n", who, who, len(message), message)
	for _, part := range []struct {
		below string
		files map[string][]byte
	}{{m.below, library}, {"", outside}} {
		names := source(part.files).Files()
		for _, p := range names {
			fmt.Fprintf(m.out, "M 100644 inline %s\ndata %d\n", filepath.ToSlash(filepath.Join(part.below, p)), len(part.files[p]))
			m.out.Write(part.files[p])
			m.out.WriteByte('\n')
		}
	}
}
