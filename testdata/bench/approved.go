package main

import (
	"bytes"
	"fmt"
	"regexp"
	"time"

	"fettle/history"
	repository "fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// approved writes a commit to a branch of a library as it mostly comes in: one changed condition of a set, with its reason and the approval of
// the lead.
func approved(dir, branch, file string) error {
	repo, err := repository.Open(dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	snap, err := repo.Commit("main", "")
	if err != nil {
		return err
	}
	side, err := hooks.ReadSide(snap)
	if err != nil {
		return err
	}
	files := source{}
	for _, f := range side.Lib.Files {
		files[f.Path] = f.Data
	}
	kerf := regexp.MustCompile(`"kerf": "0\.\d\d`)
	at := kerf.FindIndex(files[file])
	if at == nil {
		return fmt.Errorf("no kerf in %s", file)
	}
	files[file] = append(append(bytes.Clone(files[file][:at[1]]), '5'), files[file][at[1]:]...)
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		return err
	}
	differences := history.Compare(side.Lib, lib)
	if len(differences) != 1 {
		return fmt.Errorf("%d conditions differ", len(differences))
	}
	d, m := differences[0], &maker{id: lib.Settings.Value.ID.V, at: time.Unix(1767225600, 0).UTC()}
	from, to := d.Digests()
	reason := schema.NewRecord(&schema.Reason{Common: m.common(schema.KindReason, author, "Measured again."), Cause: schema.Of("quality-target"), RuledOut: schema.Of([]string{"nozzle-wear"}),
		Changes: schema.Of([]schema.Change{{ID: schema.Of(d.ID.String()), From: schema.Of(string(from)), To: schema.Of(string(to))}})})
	decision := &schema.Decision{Common: m.common(schema.KindApproval, lead, "Looked at the edge."), Subjects: schema.Of([]schema.Subject{history.ConditionSubject(lib, d.After)})}
	follows := []string{string(reason.Digest)}
	if state := side.Ledger.Judge(m.id, "").Condition(d.ID); state != nil {
		for _, head := range state.Heads {
			follows = append(follows, string(head.Record.Digest))
		}
	}
	decision.Follows = schema.Of(follows)
	approval, err := sign(decision, lead)
	if err != nil {
		return err
	}
	var stream bytes.Buffer
	fmt.Fprintf(&stream, "commit %s\ncommitter Mara Lind <%s> %d +0000\ndata 1\nx\nfrom refs/heads/main\n", branch, author, m.at.Unix())
	for p, data := range map[string][]byte{file: files[file], reason.Path: reason.Bytes(), approval.Path: approval.Bytes()} {
		fmt.Fprintf(&stream, "M 100644 inline %s\ndata %d\n%s\n", p, len(data), data)
	}
	return git(dir, &stream, "fast-import", "--quiet", "--force")
}
