package main

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// resolve turns what people type into ids of the candidates. Parts may be dropped or shortened where one condition fits; a
// trailing slash takes everything below. Where nobody sits at a terminal, only whole ids and patterns count: a script must not
// come to mean another condition because the library grew.
func (a *app) resolve(typed []string, candidates []schema.ID) ([]schema.ID, error) {
	var out []schema.ID
	for _, t := range typed {
		ids, err := a.resolveOne(strings.TrimSpace(t), candidates)
		if err != nil {
			return nil, err
		}
		for _, id := range ids {
			if !slices.Contains(out, id) {
				out = append(out, id)
			}
		}
	}
	return out, nil
}

func (a *app) resolveOne(typed string, candidates []schema.ID) ([]schema.ID, error) {
	if strings.HasSuffix(typed, "/") {
		var below []schema.ID
		for _, id := range candidates {
			if strings.HasPrefix(id.String()+"/", typed) {
				below = append(below, id)
			}
		}
		if len(below) == 0 {
			return nil, troublef(a.offer(typed, candidates), "nothing lies below %q", typed)
		}
		return below, nil
	}
	if id, err := schema.ParseID(typed); err == nil && slices.Contains(candidates, id) {
		return []schema.ID{id}, nil
	}
	fits := matching(typed, candidates)
	switch {
	case len(fits) == 1 && a.terminal:
		return fits, nil
	case len(fits) == 1:
		return nil, troublef(fmt.Sprintf("Did you mean %s ? Short ids work on a terminal only.", fits[0]), "%q is not a whole id", typed)
	case len(fits) > 1:
		return nil, troublef("It could be:\n"+list(fits, 12), "%q fits %d conditions", typed, len(fits))
	}
	return nil, troublef(a.offer(typed, candidates), "there is no condition %q", typed)
}

func (a *app) offer(typed string, candidates []schema.ID) string {
	if len(candidates) == 0 {
		return "The library holds no conditions yet. Read a spreadsheet in: fettle import FILE"
	}
	var names []string
	seen := map[string]bool{}
	for _, id := range candidates {
		name := id.String()
		if strings.HasSuffix(typed, "/") { // of the same depth
			parts := strings.Split(name, "/")
			name = strings.Join(parts[:min(len(parts), strings.Count(typed, "/"))], "/")
		}
		if !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	if strings.Count(typed, "/") <= 1 && strings.HasSuffix(typed, "/") {
		return didYouMean(strings.TrimSuffix(typed, "/"), names)
	}
	if near := schema.Nearest(strings.TrimSuffix(typed, "/"), names); near != "" {
		return "Did you mean " + near + " ?"
	}
	return "All ids: fettle export --current, or press Tab while typing one."
}

func list(ids []schema.ID, most int) string {
	var b strings.Builder
	for i, id := range ids {
		if i == most {
			fmt.Fprintf(&b, "  and %d more\n", len(ids)-most)
			break
		}
		fmt.Fprintf(&b, "  %s\n", id)
	}
	return b.String()
}

// matching returns the candidates that a short id fits: its parts, in order, each the beginning of a part of the id or a
// thickness in any unit. Where some of them match a whole part each, only those count.
func matching(typed string, candidates []schema.ID) []schema.ID {
	parts := typedParts(typed)
	best := -1
	var fits []schema.ID
	for _, id := range candidates {
		score, ok := fit(parts, strings.Split(id.String(), "/"))
		if !ok || score < best {
			continue
		}
		if score > best {
			best, fits = score, nil
		}
		fits = append(fits, id)
	}
	return fits
}

// typedParts cuts at slashes but keeps an inch fraction together: bay-2/1/8in has two parts.
func typedParts(typed string) []string {
	raw := strings.Split(typed, "/")
	var parts []string
	for i := 0; i < len(raw); i++ {
		if i+1 < len(raw) && strings.Trim(raw[i], "0123456789 ") == "" && strings.HasSuffix(raw[i+1], "in") {
			parts = append(parts, raw[i]+"/"+raw[i+1])
			i++
			continue
		}
		parts = append(parts, raw[i])
	}
	return parts
}

// fit matches typed parts against the parts of an id, in order. The score counts whole matches, and all parts being used.
func fit(typed, id []string) (score int, ok bool) {
	at := 0
	for _, part := range typed {
		if part == "" {
			return 0, false
		}
		matched := false
		for ; at < len(id) && !matched; at++ {
			switch {
			case id[at] == part, at == 3 && sameThickness(part, id[at]):
				score += 2
				matched = true
			case at != 3 && strings.HasPrefix(id[at], part):
				matched = true
			}
		}
		if !matched {
			return 0, false
		}
	}
	if len(typed) < 4 && len(id) == 4 || len(typed) == len(id) {
		score++ // a plain condition before its variants
	}
	return score, true
}

func sameThickness(typed, part string) bool {
	t, err := typedThickness(typed)
	if err != nil {
		return false
	}
	mm, ok := schema.ThicknessMM(t)
	return ok && mm+"mm" == part
}

// typedThickness reads a thickness as people type it: a bare number is in mm.
func typedThickness(typed string) (quantity.Length, error) {
	if !strings.HasSuffix(typed, "mm") && !strings.HasSuffix(typed, "in") {
		typed += "mm"
	}
	return quantity.ParseOf[quantity.Length](typed)
}

// idsOf returns the ids of libraries, sorted, each once.
func idsOf(libs ...*schema.Library) []schema.ID {
	seen := map[schema.ID]bool{}
	var ids []schema.ID
	for _, lib := range libs {
		for _, r := range lib.Recipes {
			if !seen[r.ID] {
				seen[r.ID] = true
				ids = append(ids, r.ID)
			}
		}
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i].Compare(ids[j]) < 0 })
	return ids
}

// completeIDs offers ids part by part.
func completeIDs(toComplete string, candidates []schema.ID) []string {
	seen := map[string]bool{}
	var out []string
	for _, id := range candidates {
		s := id.String()
		if !strings.HasPrefix(s, toComplete) {
			continue
		}
		next := s
		if slash := strings.IndexByte(s[len(toComplete):], '/'); slash >= 0 {
			next = s[:len(toComplete)+slash+1]
		}
		if !seen[next] {
			seen[next] = true
			out = append(out, next)
		}
	}
	return out
}
