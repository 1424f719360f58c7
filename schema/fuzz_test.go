package schema

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// outsideFiles are the good, bad and canonical files that other programs read as well.
func outsideFiles(t testing.TB) (files [][]byte) {
	t.Helper()
	for _, folder := range []string{"good", "bad", "canonical"} {
		paths, _ := filepath.Glob(filepath.Join("../testdata/outside/json", folder, "*.json"))
		for _, path := range paths {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			files = append(files, data)
		}
	}
	if len(files) < 200 {
		t.Fatalf("only %d files", len(files))
	}
	return files
}

// Whatever the bytes are: reading ends, every problem has a place in the file, and what was read can be laid out, read again and
// still means the same.
func FuzzReadFile(f *testing.F) {
	for _, data := range outsideFiles(f) {
		if len(data) < 10_000 {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<20 {
			t.Skip()
		}
		readAnything(t, data)
	})
}

// The same on bytes that were broken in ways that are close to good files, in every run of the tests.
func TestReadBrokenFiles(t *testing.T) {
	files := outsideFiles(t)
	rapid.Check(t, func(t *rapid.T) {
		data := slices.Clone(rapid.SampledFrom(files).Draw(t, "file"))
		for range rapid.IntRange(1, 4).Draw(t, "breaks") {
			at := rapid.IntRange(0, len(data)).Draw(t, "at")
			end := min(len(data), at+rapid.SampledFrom([]int{0, 0, 1, 1, 2, 10, 1000}).Draw(t, "length"))
			piece := rapid.SampledFrom([]string{"", "\"", "{", "}", "[", "]", ",", ":", "\\", "\\u0000", "\\ud800", "\xff", "\x00", "µ", "𝄞", "1e400", "-", "null", "\n", "\"\": 1,"}).Draw(t, "piece")
			data = slices.Concat(data[:at], []byte(piece), data[end:])
		}
		readAnything(t, data)
	})
}

type failer interface {
	Helper()
	Fatalf(string, ...any)
}

func readAnything(t failer, data []byte) {
	t.Helper()
	f := ReadFile("x.json", data)
	for _, p := range f.Problems {
		line, column := f.Position(p.At.Start)
		if p.At.Start < 0 || p.At.End < p.At.Start || p.At.End > len(data) || line < 1 || column < 1 || column > utf8.RuneCountInString(f.Line(line))+2 {
			t.Fatalf("%+v at %d:%d of %q", p, line, column, data)
		}
		if utf8.Valid(data) && (!utf8.Valid(data[:p.At.Start]) || !utf8.Valid(data[:p.At.End])) {
			t.Fatalf("%+v cuts a character of %q", p, data)
		}
		if p.Rule == "" || p.Message == "" {
			t.Fatalf("%+v says nothing", p)
		}
	}
	ReadRecord("records/2026/07/x.json", data)
	scanAnything(t, data)
	readAsLibrary(t, data)
	if f.Root() == nil {
		if len(f.Problems) == 0 {
			t.Fatalf("%q was not read, and nobody says why", data)
		}
		// encoding/json is laxer; where it reads an object of plain characters and little depth, so does fettle.
		if plain := json.Valid(data) && utf8.Valid(data) && !bytes.Contains(data, []byte(`\u`)) && bytes.Count(data, []byte("["))+bytes.Count(data, []byte("{")) < MaxDepth; plain && bytes.HasPrefix(bytes.TrimSpace(data), []byte("{")) {
			t.Fatalf("encoding/json reads %q, fettle says %+v", data, f.Problems)
		}
		return
	}
	if !json.Valid(data) {
		t.Fatalf("encoding/json does not read %q", data)
	}
	out := Layout(f.Root())
	if same := bytes.Equal(out, data); f.LaidOut() && !same || same && !f.LaidOut() && scan(data) != nil {
		t.Fatalf("%q is in the house layout: %v, and said to be: %v", data, same, f.LaidOut())
	}
	if at := ReadFileAndLayout("x.json", data); at.LaidOut() != f.LaidOut() || !slices.Equal(at.Problems, f.Problems) {
		t.Fatalf("%q is laid out: %v alone, %v when it is read", data, f.LaidOut(), at.LaidOut())
	}
	again := ReadFile("x.json", out)
	if again.Root() == nil {
		t.Fatalf("the layout of %q is not read: %+v\n%s", data, again.Problems, out)
	}
	if twice := Layout(again.Root()); !bytes.Equal(twice, out) {
		t.Fatalf("laid out twice it differs:\n%s\n%s", out, twice)
	}
	if before, after := canonicalNode(f.Root()), canonicalNode(again.Root()); !bytes.Equal(before, after) {
		t.Fatalf("laid out it means something else:\n%s\n%s", before, after)
	}
	if before, after := said(f), said(again); !slices.Equal(before, after) {
		t.Fatalf("laid out it has other problems:\n%s\n\n%s", strings.Join(before, "\n"), strings.Join(after, "\n"))
	}
	if f.Value != nil {
		encodeAgain(t, f)
	}
}

// scanAnything holds the fast reader to the slow one: what it takes, that takes too, as the same tree and without a problem.
func scanAnything(t failer, data []byte) {
	t.Helper()
	scanned := scan(data)
	errs := &problems{}
	parsed := parse(data, errs)
	if scanned == nil {
		return
	}
	if errs.count > 0 || !reflect.DeepEqual(scanned, parsed) {
		t.Fatalf("of %q the fast reader makes another tree than the other, which says %+v", data, errs.list)
	}
	if lasting := copied(scanned); !reflect.DeepEqual(lasting, parsed) {
		t.Fatalf("of %q a copy is another tree", data)
	}
}

// What is in order is read fast: else the fast reader could refuse everything and still agree.
func TestScanTakesWhatIsInOrder(t *testing.T) {
	taken := 0
	for _, data := range outsideFiles(t) {
		errs := &problems{}
		if parsed := parse(data, errs); parsed == nil || errs.count > 0 {
			continue
		}
		if taken++; scan(data) == nil {
			t.Errorf("the fast reader does not take %q", data)
		}
	}
	if taken < 100 {
		t.Errorf("only %d files", taken)
	}
}

// encodeAgain checks that a value written and read again is the same value.
func encodeAgain(t failer, f *File) {
	t.Helper()
	Fields(f.Value)
	again := ReadFile("x.json", Layout(Encode(f.Value)))
	if len(f.Problems) > 0 {
		return
	}
	if len(again.Problems) > 0 {
		t.Fatalf("written from its struct it has problems: %+v\n%s", again.Problems, again.Data)
	}
	if before, after := canonical(f.Value), canonical(again.Value); !bytes.Equal(before, after) {
		t.Fatalf("written from its struct it means something else:\n%s\n%s", before, after)
	}
}

// said are the problems of a file without their places, which a layout moves.
func said(f *File) (lines []string) {
	for _, p := range f.Problems {
		lines = append(lines, fmt.Sprint(p.Rule, " ", p.Field, " ", p.Message))
	}
	slices.Sort(lines)
	return lines
}

type oneFile struct {
	path string
	data []byte
}

func (o oneFile) Files() []string             { return []string{o.path} }
func (o oneFile) Read(string) ([]byte, error) { return o.data, nil }

func readAsLibrary(t failer, data []byte) {
	t.Helper()
	for _, path := range []string{SettingsFile, "machines/x.json", "sets/bay-2/x.json"} {
		lib, err := ReadLibrary(oneFile{path, data})
		if err != nil {
			t.Fatalf("%v", err)
		}
		for _, r := range lib.Recipes {
			if back, err := ParseID(r.ID.String()); err != nil || back != r.ID {
				t.Fatalf("id %s is read back as %s: %v", r.ID, back, err)
			}
			if len(r.Digest()) != 64 {
				t.Fatalf("digest %s", r.Digest())
			}
		}
		lib.Families()
	}
}
