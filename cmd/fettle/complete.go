package main

import (
	"strings"

	"github.com/spf13/cobra"

	"fettle/schema"
)

// beginning are the conditions whose ids begin with what was typed, and maybe more.
func (s *shop) beginning(typed string, a among) (ids []schema.ID, err error) {
	if !s.apart() {
		if _, _, err := s.both(); err != nil {
			return nil, err
		}
		return s.ids(a), nil
	}
	s.names, err = s.namesOf(a, func(set [3]string) bool {
		name := strings.Join(set[:], "/") + "/"
		return strings.HasPrefix(name, typed) || strings.HasPrefix(typed, name)
	})
	return s.ids(a), err
}

// complete offers ids part by part: bay-2/, then bay-2/carbon-steel/ and so on.
func (a *app) complete(of among) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		s, err := a.open()
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		ids, err := s.beginning(typed, of)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return completeIDs(typed, ids), cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
	}
}

// completion gives words for what is typed so far; a tab in a word parts it from what the shell shows beside it.
type completion = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective)

const (
	wholeWords = cobra.ShellCompDirectiveNoFileComp
	wordParts  = cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
)

// completeFields offers an id first, and behind it the fields that this condition has, with their values.
func (a *app) completeFields(ids completion) completion {
	return func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		if len(args) == 0 {
			return ids(cmd, args, typed)
		}
		s, err := a.open()
		if err != nil {
			return nil, wholeWords
		}
		s.meant(args[:1], 0, inFiles)
		lib, err := s.work()
		if err != nil {
			return nil, wholeWords
		}
		id, err := schema.ParseID(args[0])
		r := lib.Recipe(id)
		if err != nil || r == nil || strings.Contains(typed, "=") {
			return nil, wholeWords
		}
		var out []string
		for _, f := range schema.Fields(r.Condition) {
			if name := schema.SpokenPath(f.Path); name != "thickness" && name != "variant" && name != "process" && strings.HasPrefix(name, typed) {
				out = append(out, name+"=\t"+clean(f.Text))
			}
		}
		return out, wordParts
	}
}

// completeSubjects offers ids and what else is decided on.
func (a *app) completeSubjects(ids completion) completion {
	return func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 && args[0] == schema.SubjectMachine {
			s, err := a.open()
			if err != nil {
				return nil, wholeWords
			}
			s.apart()
			lib, err := s.saved()
			if err != nil || len(args) > 1 {
				return nil, wholeWords
			}
			return lib.MachineNames(), wholeWords
		}
		out, directive := ids(cmd, args, typed)
		if len(args) == 0 && !strings.Contains(typed, "/") {
			for _, word := range []string{schema.SubjectRoster, schema.SubjectSettings, schema.SubjectPeople, schema.SubjectMachine} {
				if strings.HasPrefix(word, typed) {
					out = append(out, word)
				}
			}
		}
		return out, directive
	}
}

// completeRecords offers the saved records, the newest first.
func (a *app) completeRecords(_ *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	s, err := a.open()
	if err != nil || len(args) > 0 {
		return nil, wholeWords
	}
	s.onlyRecords(unjudged)
	if _, err := s.saved(); err != nil {
		return nil, wholeWords
	}
	var out []string
	records := s.committed.ledger.Records
	for i := len(records) - 1; i >= 0; i-- {
		if r := records[i]; r.Common != nil && strings.HasPrefix(r.Digest.Short(), typed) {
			out = append(out, r.Digest.Short()+"\t"+r.Kind+" of "+s.day(r.Time())+" by "+spoken(r.By.V))
		}
	}
	return out, wholeWords | cobra.ShellCompDirectiveKeepOrder
}

// completePlans offers the codes of planned trials, the newest first, and then what else may stand in their place. Of an open plan it says
// how far it is.
func (a *app) completePlans(openOnly bool, others completion) completion {
	return func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		s, err := a.open()
		if err != nil || len(args) > 0 {
			return nil, wholeWords
		}
		s.apart()
		plans, err := s.plans()
		if err != nil {
			return nil, wholeWords
		}
		var out []string
		for i := len(plans) - 1; i >= 0; i-- {
			p := plans[i]
			if !strings.HasPrefix(p.code(), typed) || openOnly && p.recorded != nil {
				continue
			}
			state := p.writtenDown()
			if p.recorded != nil {
				state = "recorded"
			}
			out = append(out, p.code()+"\t"+clean(p.ID.V)+", "+state)
		}
		if others == nil || len(out) > 0 && typed != "" {
			return out, wholeWords | cobra.ShellCompDirectiveKeepOrder
		}
		more, directive := others(cmd, args, typed)
		return append(out, more...), directive | cobra.ShellCompDirectiveKeepOrder
	}
}

// completePersons offers the names that --by takes.
func (a *app) completePersons(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	s, err := a.open()
	if err != nil {
		return nil, wholeWords
	}
	s.apart()
	lib, err := s.work()
	if err != nil {
		return nil, wholeWords
	}
	var out []string
	for _, name := range rosterNames(lib) {
		if strings.HasPrefix(name, typed) {
			out = append(out, name+"\t"+spoken(name))
		}
	}
	return out, wholeWords
}
