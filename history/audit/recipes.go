package audit

import (
	"errors"
	"slices"
	"strings"

	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// Recipes gives the digest of every recipe that any commit up to the last one may have held, and the condition that it is of. It holds on to
// none, and is for finding one among all: f is called from several goroutines, in no order, and may be given one twice. It may be given some that
// never counted, too, such as one with a mix of gases of another time: whether a recipe stood here, [Trail.Versions] of its condition tells.
func Recipes(repo *git.Repo, root string, f func(schema.ID, schema.Digest)) error {
	repo = repo.AsWritten()
	head, err := repo.Resolve("HEAD")
	if errors.Is(err, git.ErrUnborn) {
		return nil
	}
	if err != nil {
		return err
	}
	commits, _, err := readGraph(repo, head, root, !repo.IsShallow(), true)
	if err != nil {
		return err
	}
	sets, settings := versionsOf(commits, root)
	mixes, err := everMixed(repo, settings)
	if err != nil {
		return err
	}
	type row struct {
		*files
		last *set // that could be read
	}
	rows := make([]row, len(sets))
	return repo.PastRows(sets, func(n, i int, data []byte) error {
		r := &rows[n]
		if i == 0 {
			r.files = newFiles(repo)
		}
		now := r.edited(r.last, data)
		if now == nil {
			now = r.parse(data)
		}
		if now != nil {
			r.fresh(now, r.last, mixes, f)
			r.last = now
		}
		if i == len(sets[n])-1 {
			*r = row{}
		}
		return nil
	})
}

// fresh gives the recipes of a version of a set that the one before, nil for none, does not hold.
func (f *files) fresh(now, before *set, mixes map[string][]schema.Table[quantity.Ratio], give func(schema.ID, schema.Digest)) {
	for _, id := range now.ids {
		if before != nil && before.has(id) && now.same(before, id) {
			continue
		}
		values := f.recipe(now, id).Values()
		give(id, values.Digest())
		for _, mix := range mixes[id.Gas] {
			values.Composition = mix
			give(id, values.Digest())
		}
	}
}

// versionsOf are the contents that commits gave the files of sets, a row a file in the order of history and each only once, and those of the
// settings.
func versionsOf(commits []*commit, root string) (sets [][]string, settings []string) {
	if root = strings.Trim(root, "/"); root != "" {
		root += "/"
	}
	seen, rows := map[string]bool{}, map[string]int{}
	for _, c := range commits {
		if c.entry == nil {
			continue
		}
		for _, change := range c.entry.Changes[0] {
			path, blob := strings.TrimPrefix(change.Path, root), regularBlob(change.NewMode, change.NewHash)
			if blob == "" || seen[blob] || path != schema.SettingsFile && !isSet(path) {
				continue
			}
			if seen[blob] = true; path == schema.SettingsFile {
				settings = append(settings, blob)
				continue
			}
			row, known := rows[path]
			if !known {
				row = len(sets)
				rows[path], sets = row, append(sets, nil)
			}
			sets[row] = append(sets[row], blob)
		}
	}
	return sets, settings
}

// everMixed are all compositions that each gas of the shop's own ever had.
func everMixed(repo *git.Repo, settings []string) (map[string][]schema.Table[quantity.Ratio], error) {
	known, out := map[schema.Digest]bool{}, map[string][]schema.Table[quantity.Ratio]{}
	f := newFiles(repo)
	for blob := range slices.Values(settings) {
		mixes, err := f.gases(blob)
		if err != nil {
			return nil, err
		}
		if mixes == nil {
			continue
		}
		for _, gas := range *mixes {
			if d := (&schema.Values{Gas: schema.Of(gas.Name), Composition: gas.V}).Digest(); !known[d] {
				known[d] = true
				out[gas.Name] = append(out[gas.Name], gas.V)
			}
		}
	}
	return out, nil
}
