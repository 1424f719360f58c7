package audit_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/big"
	"path"
	"slices"
	"sort"
	"strconv"
	"strings"

	"fettle/history/git/gittest"
)

// The oracle knows nothing of the package: it asks the real git for every file of every commit, reads it with encoding/json into
// flat maps, and compares the maps of a commit with those of its parents.

// flat is one state of a library: id → field → text.
type flat map[string]map[string]string

// A fact is one change as the oracle and the package both tell it.
type fact struct{ Commit, ID, Field, From, To string }

type oracle struct {
	repo    *gittest.Repo
	root    string
	blobs   map[string]string            // id of a content → content, by git show
	files   map[string]map[string]string // commit → path → content, unreadable ones as they were before
	flats   map[string]flat
	parents map[string][]string
	order   []string // parents first
}

func newOracle(repo *gittest.Repo, root string) *oracle {
	o := &oracle{repo: repo, root: root, blobs: map[string]string{}, files: map[string]map[string]string{}, flats: map[string]flat{}, parents: map[string][]string{}}
	for line := range strings.Lines(repo.Run("rev-list", "--topo-order", "--reverse", "--parents", "HEAD")) {
		ids := strings.Fields(line)
		o.order = append(o.order, ids[0])
		o.parents[ids[0]] = ids[1:]
	}
	for _, c := range o.order {
		o.files[c] = o.readFiles(c)
		o.flats[c] = o.flatten(o.files[c])
	}
	return o
}

func (o *oracle) readFiles(rev string) map[string]string {
	files := map[string]string{}
	for line := range strings.Lines(o.repo.Run("ls-tree", "-r", rev)) {
		meta, full, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		name := strings.TrimPrefix(full, o.root)
		kind := kindByPlace(name)
		if !strings.HasPrefix(full, o.root) || kind == "" {
			continue
		}
		parts := strings.Fields(meta)
		if _, ok := o.blobs[parts[2]]; !ok {
			o.blobs[parts[2]] = o.repo.Run("show", rev+":"+full) + "\n"
		}
		if text := o.blobs[parts[2]]; readable(text, kind) && parts[0] != "120000" {
			files[name] = text
			continue
		}
		for _, p := range o.parents[rev] {
			if text, ok := o.files[p][name]; ok {
				files[name] = text
				break
			}
		}
	}
	return files
}

// kindByPlace is what a file must be at its place, "" where it is none of the library.
func kindByPlace(name string) string {
	switch {
	case name == "fettle.json":
		return "library"
	case strings.HasPrefix(name, "sets/") && strings.HasSuffix(name, ".json"):
		return "condition-set"
	case strings.HasPrefix(name, "machines/") && strings.HasSuffix(name, ".json"):
		return "machine"
	}
	return ""
}

func readable(text, kind string) bool {
	var m map[string]any
	dec := json.NewDecoder(strings.NewReader(text))
	if dec.Decode(&m) != nil || m["kind"] != kind {
		return false
	}
	_, err := dec.Token()
	return err == io.EOF
}

func decode(text string) map[string]any {
	var m map[string]any
	dec := json.NewDecoder(bytes.NewReader([]byte(text)))
	dec.UseNumber()
	if err := dec.Decode(&m); err != nil {
		panic(err)
	}
	return m
}

func (o *oracle) flatten(files map[string]string) flat {
	gases, _ := map[string]any{}, 0
	if text, ok := files["fettle.json"]; ok {
		gases, _ = decode(text)["gases"].(map[string]any)
	}
	out := flat{}
	var names []string
	for name, text := range files {
		switch kindByPlace(name) {
		case "condition-set":
			names = append(names, name)
		default:
			m := decode(text)
			fields := map[string]string{}
			delete(m, "format")
			id := "settings settings"
			if m["kind"] == "machine" {
				id = "machine " + m["name"].(string)
			}
			delete(m, "kind")
			leaves("", m, fields)
			out[id] = fields
		}
	}
	sort.Strings(names)
	for _, name := range names {
		set := decode(files[name])
		for _, c := range set["conditions"].([]any) {
			fields := map[string]string{}
			for _, key := range []string{"machine", "material", "grade", "gas"} {
				if v, ok := set[key]; ok {
					fields[key] = v.(string)
				}
			}
			if mix, ok := gases[set["gas"].(string)]; ok {
				leaves("gas_composition", mix, fields)
			}
			leaves("", c, fields)
			if fields["process"] == "cut" {
				delete(fields, "process")
			}
			id := path.Join(fields["machine"], fields["material"], fields["gas"], millimetres(fields["thickness"]), fields["variant"], fields["process"])
			if _, twice := out[id]; !twice {
				out[id] = fields
			}
		}
	}
	return out
}

func leaves(at string, v any, out map[string]string) {
	switch v := v.(type) {
	case map[string]any:
		for key, kid := range v {
			leaves(strings.TrimPrefix(at+"."+key, "."), kid, out)
		}
	case []any:
		if len(v) == 0 {
			out[at] = "[]"
		}
		for i, kid := range v {
			leaves(at+"["+strconv.Itoa(i)+"]", kid, out)
		}
	default:
		out[at] = fmt.Sprint(v)
	}
}

// factors are units in SI units, by hand: NIST SP 811, appendix B; the inch is 25.4 mm exactly.
var factors = map[string][2]string{
	"mm": {"m", "1/1000"}, "cm": {"m", "1/100"}, "in": {"m", "254/10000"}, "um": {"m", "1/1000000"},
	"m/min": {"m/s", "1/60"}, "mm/s": {"m/s", "1/1000"}, "bar": {"Pa", "100000"}, "mbar": {"Pa", "100"}, "kPa": {"Pa", "1000"},
	"W": {"W", "1"}, "kW": {"W", "1000"}, "s": {"s", "1"}, "ms": {"s", "1/1000"}, "%": {"1", "1/100"},
}

func si(text string) (*big.Rat, string, bool) {
	number, unit, ok := strings.Cut(text, " ")
	f, known := factors[unit]
	r, isNumber := new(big.Rat).SetString(number)
	if !ok || !known || !isNumber {
		return nil, "", false
	}
	factor, _ := new(big.Rat).SetString(f[1])
	return r.Mul(r, factor), f[0], true
}

func millimetres(text string) string {
	r, _, ok := si(text)
	if !ok {
		panic("no thickness: " + text)
	}
	s := r.Mul(r, big.NewRat(1000, 1)).FloatString(6)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".") + "mm"
}

func equal(a, b string) bool {
	x, unitX, okX := si(a)
	y, unitY, okY := si(b)
	return a == b || okX && okY && unitX == unitY && x.Cmp(y) == 0
}

// changes are all facts about all commits: values that equal no parent's.
func (o *oracle) changes() map[fact]bool {
	out := map[fact]bool{}
	for _, c := range o.order {
		befores := []flat{{}}
		if parents := o.parents[c]; len(parents) > 0 {
			befores = nil
			for _, p := range parents {
				befores = append(befores, o.flats[p])
			}
		}
		for id, fields := range unionOf(append(befores, o.flats[c])) {
			for field := range fields {
				now := o.flats[c][id][field]
				if !slices.ContainsFunc(befores, func(f flat) bool { return equal(f[id][field], now) }) {
					out[fact{c, id, field, befores[0][id][field], now}] = true
				}
			}
		}
	}
	return out
}

func unionOf(flats []flat) map[string]map[string]bool {
	out := map[string]map[string]bool{}
	for _, f := range flats {
		for id, fields := range f {
			if out[id] == nil {
				out[id] = map[string]bool{}
			}
			for field := range fields {
				out[id][field] = true
			}
		}
	}
	return out
}

// dropped are the facts about what merges of two sides with one common base threw away: one side differs from the base, and the
// merge is as the other.
func (o *oracle) dropped() (facts map[fact]bool, merges map[string]bool) {
	facts, merges = map[fact]bool{}, map[string]bool{}
	for _, c := range o.order {
		parents := o.parents[c]
		if len(parents) != 2 || parents[0] == parents[1] {
			continue
		}
		bases, err := o.repo.Try("merge-base", "--all", parents[0], parents[1])
		if err != nil || len(strings.Fields(bases)) != 1 {
			continue
		}
		base := strings.TrimSpace(bases)
		if o.repo.Run("rev-list", "--merges", parents[0], parents[1], "^"+base) != "" {
			continue // sides that were merged themselves have no one line of work to compare with
		}
		merges[c] = true
		for i, p := range parents {
			side, other := o.flats[p], o.flats[parents[1-i]]
			for id, fields := range unionOf([]flat{side, o.flats[c], o.flats[base]}) {
				if strings.Contains(id, " ") {
					continue // what a merge threw away is told of conditions
				}
				for field := range fields {
					now := o.flats[c][id][field]
					if !equal(side[id][field], now) && equal(other[id][field], now) && !equal(side[id][field], o.flats[base][id][field]) {
						facts[fact{c, id, field, side[id][field], now}] = true
					}
				}
			}
		}
	}
	return facts, merges
}

// crissCrosses counts merges of sides with more than one common base.
func (o *oracle) crissCrosses() (n int32) {
	for _, c := range o.order {
		if p := o.parents[c]; len(p) == 2 {
			if bases, err := o.repo.Try("merge-base", "--all", p[0], p[1]); err == nil && len(strings.Fields(bases)) > 1 {
				n++
			}
		}
	}
	return n
}
