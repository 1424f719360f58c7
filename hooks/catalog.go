package hooks

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"strings"

	"fettle/schema"
)

// A catalog remembers which files of a library hold which sets and machines, so that a commit of one set need not read the others. Like the
// index of records they are a cache, and are made anew where they do not fit.
type catalog struct {
	dirs  [3]string          // the directories they are of, as git names what is in them: see [catalogued]
	files map[string]listing // by path from the root of the library
}

// catalogued are the directories of a library beside that of its records.
var catalogued = [3]string{"sets", "machines", "trials"}

func catalogDirs(dirs map[string]string) (out [3]string) {
	for i, dir := range catalogued {
		out[i] = dirs[dir]
	}
	return out
}

// A listing is what one file says it is.
type listing struct {
	id      string // of its content
	subject family // of a set; of a machine only its name
	flawed  bool   // it cannot be read whole, or is something else
}

// A family of files: sets of one machine, material and gas. What holds for conditions is judged among the sets of one.
type family struct{ machine, material, gas string }

// familyIn is what the file of a set says of all its conditions.
func familyIn(data []byte) family {
	machine, material, gas := schema.FamilyOf(data)
	return family{machine, material, gas}
}

func familyOf(id schema.ID) family { return family{id.Machine, id.Material, id.Gas} }

const catalogMagic = "fettle catalog 3"

// soundListing is listingOf a file that can be read whole.
func soundListing(path, id string, data []byte) (listing, bool) {
	p, ok := listingOf(path, id, data)
	return p, ok && !p.flawed
}

// listingOf tells what a file is. It is false for one that cannot be remembered. Of a flawed set only a part may be of the family, and
// nothing of it is of another.
func listingOf(path, id string, data []byte) (listing, bool) {
	f := schema.ReadFile(path, data)
	p := listing{id: id, flawed: len(f.Problems) > 0}
	switch v := f.Value.(type) {
	case *schema.ConditionSet:
		p.subject = familyIn(data)
	case *schema.Machine:
		p.subject.machine = v.Name.V
	default:
		p.flawed = true
	}
	for _, text := range []string{path, p.subject.machine, p.subject.material, p.subject.gas} {
		if strings.ContainsAny(text, "\t\n\x00") {
			return listing{}, false
		}
	}
	return p, true
}

// readCatalog reads what a file remembers; nil where that is nothing, or nothing that this program wrote whole.
func readCatalog(file, stamp string) *catalog {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil
	}
	head, body, ok := bytes.Cut(data, []byte("\n"))
	if !ok || string(head) != fmt.Sprintf("%s %08x", catalogMagic, crc32.ChecksumIEEE(body)) {
		return nil
	}
	lines := strings.Split(strings.TrimSuffix(string(body), "\n"), "\n")
	if len(lines) < 4 || lines[0] != stamp {
		return nil
	}
	p := &catalog{dirs: [3]string(lines[1:4]), files: make(map[string]listing, len(lines))}
	for _, line := range lines[4:] {
		var parts [6]string // not split one by one, since a commit waits for this
		for i := range parts {
			var more bool
			if parts[i], line, more = strings.Cut(line, "\t"); more != (i < len(parts)-1) {
				return nil
			}
		}
		p.files[parts[0]] = listing{parts[1], family{parts[2], parts[3], parts[4]}, parts[5] != ""}
	}
	return p
}

// write writes it, for [git.Repo.Remember].
func (p *catalog) write(out io.Writer, stamp string) error {
	var body bytes.Buffer
	fmt.Fprintf(&body, "%s\n%s\n", strings.ReplaceAll(stamp, "\n", " "), strings.Join(p.dirs[:], "\n"))
	for path, at := range p.files {
		flawed := ""
		if at.flawed {
			flawed = "flawed"
		}
		fmt.Fprintf(&body, "%s\t%s\t%s\t%s\t%s\t%s\n", path, at.id, at.subject.machine, at.subject.material, at.subject.gas, flawed)
	}
	_, err := fmt.Fprintf(out, "%s %08x\n%s", catalogMagic, crc32.ChecksumIEEE(body.Bytes()), body.Bytes())
	return err
}

// sound reports whether all files can be read whole.
func (p *catalog) sound() bool {
	for _, at := range p.files {
		if at.flawed {
			return false
		}
	}
	return true
}

// isSet reports whether a path is where sets lie.
func isSet(path string) bool { return strings.HasPrefix(path, "sets/") }
