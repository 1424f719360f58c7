package git

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"context"
	"crypto/sha1"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"fettle/history/git/gittest"
)

// versions saves many versions of a few files, some with an empty one, a large one and one that does not pack well beside them.
func versions(g *gittest.Repo, n int) {
	random := rand.New(rand.NewPCG(5, 6))
	noise := make([]byte, 300_000)
	for i := range noise {
		noise[i] = byte(random.Uint32())
	}
	var stream strings.Builder
	lines := make([][]string, 3)
	for i := range n {
		fmt.Fprintf(&stream, "commit refs/heads/main\ncommitter x <x@y> %d +0000\ndata 4\nmany\n", 1786000000+i)
		if i == 0 {
			fmt.Fprintf(&stream, "M 100644 inline empty\ndata 0\n\nM 100644 inline noise\ndata %d\n%s\nM 100644 inline large\ndata %d\n%s\n", len(noise), noise, 1<<19, strings.Repeat("0123456789abcdef", 1<<15))
		}
		if i == 1 { // a difference of long pieces
			fmt.Fprintf(&stream, "M 100644 inline large\ndata %d\n%s\n", 1<<19+1, "x"+strings.Repeat("0123456789abcdef", 1<<15))
		}
		for k := range lines {
			// Lines come, go and change, at the beginning too.
			at := random.IntN(len(lines[k]) + 1)
			line := fmt.Sprintf("%d %d %x", i, k, random.Uint64())
			switch {
			case len(lines[k]) < 60 || i%3 == 0:
				lines[k] = append(lines[k][:at:at], append([]string{line}, lines[k][at:]...)...)
			case i%3 == 1 && at < len(lines[k]):
				lines[k][at] = line
			default:
				lines[k] = lines[k][:len(lines[k])-1]
			}
			text := strings.Join(lines[k], "\n")
			fmt.Fprintf(&stream, "M 100644 inline sets/%d\ndata %d\n%s\n", k, len(text), text)
		}
	}
	g.Input(stream.String(), "fast-import", "--quiet")
	g.Run("tag", "-a", "-m", "a tag", "noted")
	g.Run("tag", "-a", "-m", "a tag of a tag", "twice", "noted")
}

// told is what git says of every object of a repository.
func told(t *testing.T, g *gittest.Repo) []object {
	t.Helper()
	cmd := g.Command("cat-file", "--batch-all-objects", "--batch")
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var all []object
	for in := bufio.NewReader(bytes.NewReader(out)); ; {
		line, err := in.ReadString('\n')
		if err == io.EOF {
			return all
		}
		parts := strings.Fields(line)
		size, err := strconv.Atoi(parts[2])
		if err != nil {
			t.Fatal(err)
		}
		o := object{hash: parts[0], kind: parts[1], size: int64(size), data: make([]byte, size)}
		if _, err := io.ReadFull(in, o.data); err != nil {
			t.Fatal(err)
		}
		in.Discard(1)
		all = append(all, o)
	}
}

// alone opens a repository so that the test fails where a child would be asked for an object.
func alone(t *testing.T, dir string, options ...Option) *Repo {
	t.Helper()
	r, err := Open(dir, options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	r.shared.objects.start = func() *exec.Cmd {
		t.Error("a child was started to read objects")
		return exec.Command("false")
	}
	return r
}

// same holds all objects, read in one go, one by one and in part, to what git says.
func same(t *testing.T, r *Repo, all []object) {
	t.Helper()
	if len(all) == 0 {
		t.Fatal("there are no objects to compare")
	}
	order := rand.New(rand.NewPCG(7, 8)).Perm(len(all))
	names := make([]string, len(all))
	for i, k := range order {
		names[i] = all[k].hash
	}
	for _, n := range []int64{0, 1, 30, 1000} {
		next := 0
		check := func(i int, got object) error {
			want := all[order[i]]
			data := want.data
			if n > 0 {
				data = data[:min(n, want.size)]
			}
			if i != next || got.hash != want.hash || got.kind != want.kind || got.size != want.size || got.data == nil || !bytes.Equal(got.data, data) {
				return fmt.Errorf("%d bytes of object %d, expected of %d: %s %s %d of %d bytes, in git a %s of %d", n, i, next, got.hash, got.kind, len(got.data), got.size, want.kind, want.size)
			}
			if n == 0 && len(got.data) > 0 {
				got.data[0]++ // whoever asked may write into it
			}
			next++
			return nil
		}
		for part := range slices.Chunk(names, 100) { // many whole ones are left to a child
			before := next
			if err := r.shared.objects.each(r.ctx, part, share{MaxBlob, n}, func(i int, got object) error { return check(before+i, got) }); err != nil {
				t.Errorf("after %d objects of %d: %v", next, len(all), err)
			}
		}
		if next != len(all) {
			t.Errorf("%d objects of %d", next, len(all))
		}
	}
	for i, want := range all {
		if i%7 > 0 {
			continue
		}
		if got, err := r.shared.objects.get(r.ctx, want.hash, MaxBlob); err != nil || got.kind != want.kind || !bytes.Equal(got.data, want.data) {
			t.Errorf("%s: %v", want.hash, err)
		}
	}
}

// TestObjectsAsInGit reads repositories that git made in many ways, and needs no child for that.
func TestObjectsAsInGit(t *testing.T) {
	t.Parallel()
	for name, how := range map[string]func(g *gittest.Repo) *gittest.Repo{
		"as imported": func(g *gittest.Repo) *gittest.Repo { return g },
		"deep": func(g *gittest.Repo) *gittest.Repo {
			g.Run("repack", "-q", "-a", "-d", "-f", "--depth=200", "--window=50")
			return g
		},
		"by id": func(g *gittest.Repo) *gittest.Repo {
			g.Run("-c", "repack.useDeltaBaseOffset=false", "repack", "-q", "-a", "-d", "-f")
			return g
		},
		"without differences": func(g *gittest.Repo) *gittest.Repo {
			g.Run("repack", "-q", "-a", "-d", "-f", "--depth=0")
			return g
		},
		"large offsets": func(g *gittest.Repo) *gittest.Repo {
			g.Run("repack", "-q", "-a", "-d", "-f")
			packs, err := filepath.Glob(g.Path(".git/objects/pack/*.pack"))
			if err != nil || len(packs) != 1 {
				g.Run("no pack") // ends the test
			}
			index := strings.TrimSuffix(packs[0], "pack") + "idx"
			os.Remove(index)
			g.Run("index-pack", "--index-version=2,0x40", "-o", index, packs[0])
			return g
		},
		"loose": func(g *gittest.Repo) *gittest.Repo {
			loosen(g)
			return g
		},
		"not packed well": func(g *gittest.Repo) *gittest.Repo {
			g.Run("config", "core.compression", "0")
			loosen(g)
			return g
		},
		"two packs and loose": func(g *gittest.Repo) *gittest.Repo {
			g.Run("checkout", "-q", "main")
			for _, text := range []string{"one", "two"} {
				g.Write("sets/more", strings.Repeat(text+"\n", 200))
				g.Commit(text)
				if text == "one" {
					g.Run("repack", "-q", "-d")
				}
			}
			return g
		},
		"alternates": func(g *gittest.Repo) *gittest.Repo {
			clone := g.Clone()
			os.RemoveAll(clone.Path(".git/objects"))
			os.MkdirAll(clone.Path(".git/objects/info"), 0o777)
			os.MkdirAll(clone.Path("between/info"), 0o777)
			os.MkdirAll(clone.Path("between/pack"), 0o777)
			clone.Write(".git/objects/info/alternates", "# a note\n\n../../between\n")
			clone.Write("between/info/alternates", g.Path(".git/objects")+"\n"+clone.Path(".git/objects")+"\n")
			clone.Write("own", "own\n")
			clone.Commit("own", "own")
			return clone
		},
		"mapped": func(g *gittest.Repo) *gittest.Repo {
			g.Run("multi-pack-index", "write")
			return g
		},
	} {
		for _, format := range []string{"sha1", "sha256"} {
			t.Run(name+" "+format, func(t *testing.T) {
				t.Parallel()
				g := gittest.New(t, "--object-format="+format)
				versions(g, 150)
				g = how(g)
				all := told(t, g)
				r := alone(t, g.Dir)
				same(t, r, all)
				want := g.Run("rev-parse", "HEAD")
				for _, rev := range []string{"HEAD", "refs/heads/main", "refs/tags/noted", "refs/tags/twice", g.Run("rev-parse", "main"), g.Run("rev-parse", "main")} {
					if name == "alternates" && strings.HasPrefix(rev, "refs/tags/") {
						continue
					}
					hash, err := r.Resolve(rev)
					if err != nil || !strings.HasPrefix(rev, "refs/tags") && hash != want || strings.HasPrefix(rev, "refs/tags") && hash != g.Run("rev-parse", rev+"^{commit}") {
						t.Errorf("%s: %s, %v", rev, hash, err)
					}
				}
			})
		}
	}
}

// TestBeginAlike: what is said to begin alike does, and of versions that follow one another it is said of many.
func TestBeginAlike(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"sha1", "sha256"} {
		g := gittest.New(t, "--object-format="+format)
		versions(g, 60)
		g.Run("repack", "-q", "-a", "-d", "-f", "--depth=200", "--window=50")
		blobs := slices.DeleteFunc(told(t, g), func(o object) bool { return o.kind != "blob" })
		r := alone(t, g.Dir)
		said, apart := 0, 0
		for _, a := range blobs {
			for _, b := range blobs {
				for _, n := range []int{1, 100, 256, 4000} {
					same := len(a.data) >= n && len(b.data) >= n && bytes.Equal(a.data[:n], b.data[:n])
					switch {
					case !r.BeginAlike(a.hash, b.hash, n):
						apart++
					case same && a.hash != b.hash:
						said++
					default:
						t.Errorf("%s and %s are said to begin with the same %d bytes", a.hash, b.hash, n)
					}
				}
			}
		}
		if said < 20 || apart < 20 {
			t.Errorf("it is said of %d and not of %d", said, apart)
		}
		loosen(g)
		if r := alone(t, g.Dir); r.BeginAlike(blobs[0].hash, blobs[1].hash, 1) || r.BeginAlike("", "x", 1) {
			t.Error("it is said of what is not packed, or not there")
		}
	}
}

// TestFindInLargeIndex finds every id of an index that is too large to be read for a few, whatever its ids are like, and none that is not there.
func TestFindInLargeIndex(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(3, 4))
	for name, spread := range map[string]func(id []byte, i int){
		"even":      func(id []byte, i int) {},
		"crowded":   func(id []byte, i int) { id[0], id[1], id[2] = 7, 0, 0 },
		"two heaps": func(id []byte, i int) { id[0], id[1] = 7, byte(i%2*255) },
	} {
		const n = 40_000
		ids := make([]string, 0, n)
		for i := range n {
			id := make([]byte, sha1.Size)
			for k := range id {
				id[k] = byte(random.Uint32())
			}
			spread(id, i)
			ids = append(ids, string(id))
		}
		slices.Sort(ids)
		index := []byte("\xfftOc\x00\x00\x00\x02")
		upTo := 0
		for first := range 256 {
			for upTo < n && int(ids[upTo][0]) <= first {
				upTo++
			}
			index = binary.BigEndian.AppendUint32(index, uint32(upTo))
		}
		index = append(index, strings.Join(ids, "")...)
		index = append(index, make([]byte, 4*n)...) // checksums, which nobody reads
		for i := range n {
			index = binary.BigEndian.AppendUint32(index, uint32(1000+i))
		}
		file := filepath.Join(t.TempDir(), "pack")
		if err := os.WriteFile(file+".idx", append(index, make([]byte, 2*sha1.Size)...), 0o666); err != nil {
			t.Fatal(err)
		}
		var p *pack
		probed := int64(0)
		for k, i := range random.Perm(n)[:6000] {
			if k%200 == 0 {
				if p != nil {
					probed += p.probes.Load()
					p.close()
				}
				p = newPack(file, sha1.Size)
			}
			if at, ok := p.find([]byte(ids[i])); !ok || at != int64(1000+i) {
				t.Fatalf("%s: %x is at %d and not %d", name, ids[i], at, 1000+i)
			}
			other := []byte(ids[i])
			other[19]++
			if _, there := slices.BinarySearch(ids, string(other)); there {
				continue
			}
			if at, ok := p.find(other); ok {
				t.Fatalf("%s: %x, which is not there, is at %d", name, other, at)
			}
		}
		p.close()
		if probed < 25 {
			t.Errorf("%s: only %d were looked for where they most likely are", name, probed)
		}
	}
}

// loosen unpacks all packs.
func loosen(g *gittest.Repo) {
	packs, _ := filepath.Glob(g.Path(".git/objects/pack/*.pack"))
	for _, name := range packs {
		data, _ := os.ReadFile(name)
		for _, ending := range []string{"pack", "idx", "rev"} {
			os.Remove(strings.TrimSuffix(name, "pack") + ending)
		}
		g.Input(string(data), "unpack-objects", "-q")
	}
}

// TestManyObjects: of very many a child is asked, from the beginning or when much was read, and beginnings never.
func TestManyObjects(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	versions(g, 40)
	large := g.Run("rev-parse", "HEAD:large")
	small := g.Run("rev-parse", "HEAD:empty")
	for _, names := range [][]string{slices.Repeat([]string{small}, fewObjects+1), append(slices.Repeat([]string{large}, 6), small)} {
		r := alone(t, g.Dir)
		if err := r.PastHeads(names, 10, func(int, []byte) error { return nil }); err != nil {
			t.Error(err)
		}
		r, err := Open(g.Dir)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		next, children := 0, 0
		start := r.shared.objects.start
		r.shared.objects.start = func() *exec.Cmd { children++; return start() }
		if err := r.Blobs(names, func(i int, data []byte) error {
			if want := map[string]int{small: 0, large: 1<<19 + 1}[names[i]]; i != next || len(data) != want {
				t.Errorf("answer %d, expected of %d, of %d bytes, not %d", i, next, len(data), want)
			}
			next++
			return nil
		}); err != nil || next != len(names) || children != 1 {
			t.Errorf("%d answers of %d by %d children, %v", next, len(names), children, err)
		}
	}
}

// TestObjectsOfAPush: what is pushed is in another directory until it was accepted, and git names it in the environment.
func TestObjectsOfAPush(t *testing.T) {
	g := gittest.New(t)
	versions(g, 30)
	t.Setenv("GIT_OBJECT_DIRECTORY", g.Path(".git/incoming"))
	t.Setenv("GIT_ALTERNATE_OBJECT_DIRECTORIES", g.Path("none")+string(os.PathListSeparator)+g.Path(".git/objects"))
	if err := os.MkdirAll(g.Path(".git/incoming/pack"), 0o777); err != nil {
		t.Fatal(err)
	}
	g.Run("checkout", "-q", "main")
	g.Write("pushed", "pushed\n")
	g.Commit("pushed", "pushed")
	same(t, alone(t, g.Dir), told(t, g))
	t.Setenv("GIT_ALTERNATE_OBJECT_DIRECTORIES", `"`+g.Path(".git/objects")+`"`)
	r, err := Open(g.Dir) // this one is left to git
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	same(t, r, told(t, g))
}

// TestObjectsPackedMeanwhile: packs and single files go while they are read.
func TestObjectsPackedMeanwhile(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	versions(g, 60)
	all := told(t, g)
	r := alone(t, g.Dir)
	for _, step := range []func(){
		func() {},
		func() { g.Run("repack", "-q", "-a", "-d", "-f") },
		func() { loosen(g) },
		func() { g.Run("gc", "-q", "--prune=now") },
		func() { g.Run("repack", "-q", "-a", "-d", "-f", "--depth=1") },
	} {
		step()
		same(t, r, all)
	}
	g.Run("checkout", "-q", "main")
	g.Write("later", "later\n")
	g.Commit("later", "later")
	g.Run("repack", "-q", "-d")
	same(t, r, told(t, g))
}

// TestObjectsReplaced: what git shows instead of an object is what is shown here, unless it is told not to.
func TestObjectsReplaced(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("a", "a\n")
	g.Write("b", "b\n")
	g.Commit("one")
	a, b := g.Run("rev-parse", "HEAD:a"), g.Run("rev-parse", "HEAD:b")
	g.Run("replace", a, b)
	for _, pack := range []bool{false, true} {
		if pack {
			g.Run("pack-refs", "--all")
		}
		r, err := Open(g.Dir)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		if data, err := r.Blob(a); err != nil || string(data) != "b\n" {
			t.Errorf("a replaced object reads %q, %v", data, err)
		}
		r.AsWritten().shared.objects.start = func() *exec.Cmd { t.Error("a child was started"); return exec.Command("false") }
		for _, r := range []*Repo{r.AsWritten(), alone(t, g.Dir, NoReplace())} {
			if data, err := r.Blob(a); err != nil || string(data) != "a\n" {
				t.Errorf("as it was written it reads %q, %v", data, err)
			}
		}
	}
}

// Where references are kept in another way, what they replace is not known.
func TestObjectsReplacedElsewhere(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Commit("one")
	for head, want := range map[string]bool{"ref: refs/heads/main\n": false, "ref: refs/heads/unborn\n": false, "ref: refs/heads/.invalid\n": true, "odd\n": true} {
		r := alone(t, g.Dir)
		g.Write(".git/HEAD", head)
		if got := r.mayReplace(); got != want {
			t.Errorf("HEAD is %q: %v", head, got)
		}
		g.Write(".git/HEAD", "ref: refs/heads/main\n")
		r.shared.env = append(r.shared.env, "GIT_REPLACE_REF_BASE=refs/other/")
		if !r.mayReplace() {
			t.Error("git was told to look elsewhere for what replaces objects")
		}
	}
}

// TestObjectsDamaged: whatever is broken, nothing wrong is given, and what is said is what git's own child says.
func TestObjectsDamaged(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"sha1", "sha256"} {
		g := gittest.New(t, "--object-format="+format)
		versions(g, 40)
		g.Run("repack", "-q", "-a", "-d", "-f")
		all := told(t, g)
		by := map[string]object{}
		for _, o := range all {
			by[o.hash] = o
		}
		packs, _ := filepath.Glob(g.Path(".git/objects/pack/*.pack"))
		index := strings.TrimSuffix(packs[0], "pack") + "idx"
		random := rand.New(rand.NewPCG(9, 10))
		for _, name := range []string{packs[0], index} {
			if err := os.Chmod(name, 0o666); err != nil {
				t.Fatal(err)
			}
			good, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for round := range 25 {
				bad := bytes.Clone(good)
				switch {
				case round < 2:
					bad = bad[:random.IntN(len(bad))]
				case round < 4:
					bad = append(bad, 0)
				case round < 8 && name == index: // the table of contents
					bad[8+random.IntN(1024)] ^= 1 << random.IntN(8)
				default:
					for range 3 {
						bad[random.IntN(len(bad))] ^= 1 << random.IntN(8)
					}
				}
				if err := os.WriteFile(name, bad, 0o666); err != nil {
					t.Fatal(err)
				}
				own := &store{idLen: len(all[0].hash) / 2, bases: recent[spot]{most: mostBases}, heads: headCache{recent[spot]{most: mostHeads}, recent[spot]{most: mostHeads}}}
				own.add(g.Path(".git/objects"), 0)
				lost := 0
				for _, want := range all {
					got, ok := own.object(want.hash, MaxBlob)
					if !ok {
						lost++
						continue
					}
					if got.hash != want.hash || got.kind != want.kind || !bytes.Equal(got.data, want.data) {
						t.Fatalf("%s, round %d: a wrong %s of %d bytes was given for %s", filepath.Ext(name), round, got.kind, got.size, want.hash)
					}
					own.head(want.hash, 100) // must not fall over
				}
				own.close()
				if lost == 0 {
					continue
				}
				if round%5 > 0 { // a child for each takes its time
					continue
				}
				r, err := Open(g.Dir)
				if err != nil {
					continue // not even that can be said any more
				}
				for i, want := range all {
					if i%11 > 0 {
						continue
					}
					got, err := r.shared.objects.get(context.Background(), want.hash, MaxBlob)
					r.shared.objects.files = func() *store { return nil }
					theirs, theirErr := r.shared.objects.get(context.Background(), want.hash, MaxBlob)
					r.shared.objects.files = r.shared.files
					if fmt.Sprint(err) != fmt.Sprint(theirErr) || got.kind != theirs.kind && !bytes.Equal(got.data, want.data) {
						t.Errorf("%s, round %d: %s: %s %v, asked from git: %s %v", filepath.Ext(name), round, want.hash, got.kind, err, theirs.kind, theirErr)
					}
				}
				r.Close()
			}
			if err := os.WriteFile(name, good, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		loosen(g)
		for i, want := range all {
			if want.kind == "blob" && want.size > 100_000 || i%3 > 0 {
				continue
			}
			file := g.Path(".git/objects/" + want.hash[:2] + "/" + want.hash[2:])
			good, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			os.Chmod(file, 0o666)
			bad := bytes.Clone(good)
			switch i % 4 {
			case 0:
				bad = bad[:random.IntN(len(bad))]
			case 1:
				bad = append(bad, 'x')
			default:
				bad[random.IntN(len(bad))] ^= 1 << random.IntN(8)
			}
			if err := os.WriteFile(file, bad, 0o666); err != nil {
				t.Fatal(err)
			}
			own := newStore(g.Path(".git/objects"), "", len(want.hash)/2)
			if got, ok := own.object(want.hash, MaxBlob); ok && (got.kind != want.kind || !bytes.Equal(got.data, want.data)) {
				t.Errorf("%s: a damaged file gave a wrong %s", want.hash, got.kind)
			}
			// The content of another object under this name is what no checksum but the id tells.
			other := all[(i+1)%len(all)]
			whole, err := os.ReadFile(g.Path(".git/objects/" + other.hash[:2] + "/" + other.hash[2:]))
			if err == nil && os.WriteFile(file, whole, 0o666) == nil {
				if got, ok := own.object(want.hash, MaxBlob); ok {
					t.Errorf("%s: another content was taken for it: a %s", want.hash, got.kind)
				}
			}
			own.close()
			if err := os.WriteFile(file, good, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestObjectsAtOnce: many ask at the same time while another program packs.
func TestObjectsAtOnce(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	versions(g, 60)
	all := told(t, g)
	r, err := Open(g.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var wg sync.WaitGroup
	for worker := range 4 {
		wg.Go(func() {
			for round := range 2 {
				for i := range all {
					want := all[(i*(2*worker+1)+round)%len(all)]
					if got, err := r.shared.objects.get(r.ctx, want.hash, MaxBlob); err != nil || !bytes.Equal(got.data, want.data) {
						t.Errorf("%s: %v", want.hash, err)
						return
					}
				}
			}
		})
	}
	for _, depth := range []string{"3", "50"} {
		g.Run("repack", "-q", "-a", "-d", "-f", "--depth="+depth)
	}
	wg.Wait()
	r.Close()
	if _, err := r.Blob(all[0].hash); !errors.Is(err, ErrClosed) {
		t.Errorf("after it was closed: %v", err)
	}
}

// TestObjectsTooLarge: of what is larger than is asked for git tells the size.
func TestObjectsTooLarge(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	versions(g, 40)
	g.Run("repack", "-q", "-a", "-d", "-f")
	r, err := Open(g.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for _, want := range told(t, g) {
		if want.size < 2 {
			continue
		}
		got, err := r.shared.objects.get(r.ctx, want.hash, want.size-1)
		if err != nil || got.kind != want.kind || got.size != want.size || got.data != nil {
			t.Errorf("%s: %s of %d, %d bytes read, %v", want.hash, got.kind, got.size, len(got.data), err)
		}
	}
}

// FuzzDelta: no difference makes anything but what it says, and what is made at the beginning is the beginning of the whole.
func FuzzDelta(f *testing.F) {
	f.Add([]byte("the base of it"), []byte{14, 9, 0x90, 4, 5, 'a', 'b', 'c', 'd', 'e'})
	f.Add([]byte("x"), []byte{1, 0xff, 0xff, 0x7f, 0x80})
	f.Add([]byte(""), []byte{0, 0})
	f.Fuzz(func(t *testing.T, base, difference []byte) {
		const limit = 1 << 20
		out, err := applyDelta(base, difference, limit, newBytes)
		if err == nil && len(out) > limit {
			t.Fatalf("%d bytes were made", len(out))
		}
		if err == nil {
			d, err := readDelta(difference)
			if err != nil || d.newSize != int64(len(out)) || d.oldSize != int64(len(base)) {
				t.Fatalf("%d bytes of %d, %v", len(out), d.newSize, err)
			}
		}
	})
}

// TestBeginningsThatLeadEverywhere: a pack may tell the first bytes of an object by single bytes of another one, far from its beginning, and so
// on, hundreds of times. They are not gathered so; the whole is made, and is right.
func TestBeginningsThatLeadEverywhere(t *testing.T) {
	const size, deep = 20000, 200
	base := make([]byte, size)
	random := rand.New(rand.NewPCG(9, 10))
	for i := range base {
		base[i] = 'a' + byte(random.IntN(26))
	}
	number := func(n int) []byte { return []byte{byte(n) | 0x80, byte(n>>7) | 0x80, byte(n >> 14)} }
	backwards := slices.Concat(number(size), number(size)) // one byte after another, from the last to the first
	for i := size - 1; i >= 0; i-- {
		backwards = append(backwards, 0x93, byte(i), byte(i>>8), 1)
	}
	var packed bytes.Buffer
	entry := func(kind byte, content, back []byte) {
		packed.Write([]byte{kind<<4 | 0x80 | byte(len(content)&15), byte(len(content)>>4) | 0x80, byte(len(content) >> 11)})
		packed.Write(back)
		w := zlib.NewWriter(&packed)
		w.Write(content)
		w.Close()
	}
	packed.WriteString("PACK\x00\x00\x00\x02" + string(binary.BigEndian.AppendUint32(nil, deep+1)))
	entry(3, base, nil)
	at, step := packStart, 0
	for range deep {
		if step = packed.Len() - at; step >= 1<<14 { // of two bytes, as the difference is from the entry just before
			back := step - 1<<14 - 1<<7
			entry(atOffset, backwards, []byte{byte(back>>14) | 0x80, byte(back>>7&0x7f) | 0x80, byte(back & 0x7f)})
		} else {
			entry(atOffset, backwards, []byte{byte((step-1<<7)>>7) | 0x80, byte((step - 1<<7) & 0x7f)})
		}
		at += step
	}
	sum := sha1.Sum(packed.Bytes())
	packed.Write(sum[:])
	g := gittest.New(t)
	g.Input(packed.String(), "index-pack", "--stdin")
	r := alone(t, g.Dir)
	want := bytes.Clone(base)
	if deep%2 == 1 {
		slices.Reverse(want)
	}
	id := r.BlobID(want)
	files := r.shared.files()
	raw, _ := hex.DecodeString(r.BlobID(want))
	p, _ := files.find(raw)
	if p == nil {
		t.Fatal("git does not have " + id)
	}
	if _, err := p.head(&files.heads, int64(at), 256); err == nil {
		t.Error("the beginning was gathered byte by byte")
	}
	if err := r.PastHeads([]string{id}, 256, func(_ int, head []byte) error {
		if !bytes.Equal(head, want[:256]) {
			t.Errorf("it begins %q, not %q", head, want[:256])
		}
		return nil
	}); err != nil {
		t.Error(err)
	}
}

// packOf is a pack in memory.
func packOf(index, data []byte, idLen int) *pack {
	p := newPack("", idLen)
	p.openIndex = sync.OnceValue(func() bool {
		p.index = io.NewSectionReader(bytes.NewReader(index), 0, int64(len(index)))
		return p.readIndex()
	})
	p.openData = sync.OnceValue(func() bool {
		p.data = io.NewSectionReader(bytes.NewReader(data), 0, int64(len(data)))
		return true // what is at the end would keep all damage out
	})
	return p
}

// FuzzPack reads packs and indexes that were damaged in any way: nothing falls over or takes memory for what cannot be there.
func FuzzPack(f *testing.F) {
	g := gittest.New(f)
	versions(g, 12)
	g.Run("rm", "-r", "-q", "--cached", "--ignore-unmatch", ".")
	list := g.Run("rev-list", "--objects", "main", "--", "sets")
	base := g.Path("small")
	g.Input(list, "pack-objects", "-q", "--depth=20", base)
	packs, err := filepath.Glob(base + "-*.pack")
	if err != nil || len(packs) != 1 {
		f.Fatal(packs, err)
	}
	data, err := os.ReadFile(packs[0])
	if err != nil {
		f.Fatal(err)
	}
	index, err := os.ReadFile(strings.TrimSuffix(packs[0], "pack") + "idx")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(uint32(0), []byte{}, uint32(0), []byte{}, uint16(len(index)))
	f.Add(uint32(1030), []byte{0xff}, uint32(12), []byte{0xff, 0xff, 0xff, 0x7f}, uint16(0))
	f.Add(uint32(20), []byte{0xff, 0xff, 0xff, 0xff}, uint32(100), []byte{0x6f}, uint16(2000))
	f.Fuzz(func(t *testing.T, atIndex uint32, inIndex []byte, atData uint32, inData []byte, cut uint16) {
		badIndex, badData := bytes.Clone(index), bytes.Clone(data)
		copy(badIndex[int(atIndex)%len(badIndex):], inIndex)
		copy(badData[int(atData)%len(badData):], inData)
		if cut > 0 {
			badIndex = badIndex[:min(len(badIndex), int(cut))]
		}
		p := packOf(badIndex, badData, sha1.Size)
		s := &store{idLen: sha1.Size, bases: recent[spot]{most: mostBases}, heads: headCache{recent[spot]{most: mostHeads}, recent[spot]{most: mostHeads}}}
		s.packs.Store(&[]*pack{p})
		n := int(binary.BigEndian.Uint32(index[8+255*4:]))
		for i := range n {
			id := index[indexStart+i*sha1.Size:][:sha1.Size]
			offset, ok := p.find(id)
			if !ok {
				continue
			}
			kind, whole, err := p.object(&s.bases, offset, 1<<20)
			head, headErr := p.head(&s.heads, offset, 40)
			if err == nil && headErr == nil && (head.kind != kind || head.size != int64(len(whole)) || !bytes.HasPrefix(whole, head.data) || len(head.data) < min(40, len(whole))) {
				t.Fatalf("a %s of %d that begins %q, the whole is a %s of %d: %q", head.kind, head.size, head.data, kind, len(whole), whole)
			}
		}
	})
}
