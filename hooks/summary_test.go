package hooks

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The stub puts a summary into a message with the shell, and fettle does so itself where the stub had to start it. Both are held to one
// table, and to each other on it.
func TestSummaryInMessage(t *testing.T) {
	t.Parallel()
	said := Summary{"Change bay-2/x/10mm", "    cut.pressure 0.46 -> 0.48 bar\n\nquality-target: dross, 'quoted' \\n $HOME `x`\n"}
	const body = "    cut.pressure 0.46 -> 0.48 bar\n\nquality-target: dross, 'quoted' \\n $HOME `x`\n"
	const comments = "\n# Please enter the message\n#\n# On branch main\n# ------------------------ >8 ------------------------\ndiff --git a/x b/x\n\n+ # y\n"
	const same = "\x00"
	for _, c := range []struct {
		name, message, source, editor, comment, want string
		summary                                      *Summary
	}{
		{name: "a person at an editor", message: comments, want: "Change bay-2/x/10mm\n\n" + body + comments},
		{name: "given", message: "Raise it\n", source: "message", editor: ":", want: "Raise it\n\n" + body},
		{name: "given without a line end", message: "Raise it", source: "message", editor: ":", want: "Raise it\n\n" + body},
		{name: "given in paragraphs", message: "Raise it\n\nAs Jonas said.\n\n\n", source: "message", editor: ":", want: "Raise it\n\nAs Jonas said.\n\n" + body},
		{name: "given, looks like a comment", message: "Raise it\n\n# 4711 is the lot\n", source: "message", editor: ":", want: "Raise it\n\n# 4711 is the lot\n\n" + body},
		{name: "given and edited", message: "Raise it\n" + comments, source: "message", editor: "vi", want: "Raise it\n\n" + body + comments},
		{name: "given twice", message: "Raise it\n\n" + body, source: "message", editor: ":", want: same},
		{name: "trailers stay last", message: "Raise it\n\nWhy.\n\nSigned-off-by: Mara <m@x>\nCo-authored-by: Iris <i@x>\n", source: "message", editor: ":",
			want: "Raise it\n\nWhy.\n\n" + body + "\nSigned-off-by: Mara <m@x>\nCo-authored-by: Iris <i@x>\n"},
		{name: "a subject is no trailer", message: "fix: raise it\n", source: "message", editor: ":", want: "fix: raise it\n\n" + body},
		{name: "a last paragraph that is none", message: "Raise it\n\nNote to all: it is\nhigh\n", source: "message", editor: ":", want: "Raise it\n\nNote to all: it is\nhigh\n\n" + body},
		{name: "template", message: "Ticket: \n\n# fill in\n" + comments, source: "template", want: "Ticket: \n\n" + body + "\n# fill in\n" + comments},
		{name: "merge", message: "Merge branch 'x'\n\n# Conflicts:\n#\ta\n", source: "merge", editor: ":", want: "Merge branch 'x'\n\n" + body + "\n# Conflicts:\n#\ta\n"},
		{name: "amended", message: "Old words\n" + comments, source: "commit", want: same},
		{name: "squashed", message: "Squashed commit\n" + comments, source: "squash", want: same},
		{name: "another mark", message: "\n; Please enter\n; # x\n", comment: ";", want: "Change bay-2/x/10mm\n\n" + body + "\n; Please enter\n; # x\n"},
		{name: "a mark of the shell", message: "\n* Please enter\n", comment: "*", want: "Change bay-2/x/10mm\n\n" + body + "\n* Please enter\n"},
		{name: "a mark that git chooses", message: "\n; Please enter\n", comment: "auto", want: same},
		{name: "a mark that git chooses, and nobody edits", message: "# 4711\n", comment: "auto", source: "message", editor: ":", want: "# 4711\n\n" + body},
		{name: "no body", message: comments, summary: &Summary{"Add bay-2/x/10mm", ""}, want: "Add bay-2/x/10mm\n" + comments},
		{name: "no body, given", message: "Raise it\n", source: "message", editor: ":", summary: &Summary{"Add bay-2/x/10mm", ""}, want: same},
		{name: "nothing to say", message: "Raise it\n", source: "message", editor: ":", summary: &Summary{}, want: same},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := said
			if c.summary != nil {
				s = *c.summary
			}
			want := c.want
			if want == same {
				want = c.message
			}
			mark := c.comment
			switch mark {
			case "":
				mark = "#"
			case "auto":
				mark = ""
			}
			got := c.message
			if s.Title != "" && c.source != "commit" && c.source != "squash" {
				if text, ok := withSummary(c.message, s, mark, c.editor != ":" || c.source != "message"); ok {
					got = text
				}
			}
			if got != want {
				t.Errorf("fettle itself wrote\n%q\nwant\n%q", got, want)
			}

			// The stub, run as git runs it: the process that asks is this one.
			dir := t.TempDir()
			pid := strconv.Itoa(os.Getpid())
			write := func(name, text string) {
				if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o777); err != nil {
					t.Fatal(err)
				}
			}
			index := "the content of an index" + strings.Repeat("x", markSize)
			write("index", index)
			write(".git/fettle/"+markPrefix+pid+"-"+strconv.Itoa(len(index)-markSize), index[len(index)-markSize:])
			if s.Title != "" {
				write(".git/fettle/"+saidPrefix+pid, mark+"\n"+s.Title+"\n"+s.Body)
			}
			write(".git/COMMIT_EDITMSG", c.message)
			write("hook", stub(PrepareCommitMsg, filepath.Join(dir, "started")))
			write("started", "#!/bin/sh\necho fettle was started; exit 7\n")
			args := []string{"hook", ".git/COMMIT_EDITMSG"}
			if c.source != "" {
				args = append(args, c.source)
			}
			for _, shell := range []string{"sh", "bash", "busybox sh"} {
				name, first, _ := strings.Cut(shell, " ")
				path, err := exec.LookPath(name)
				if err != nil {
					continue
				}
				write(".git/COMMIT_EDITMSG", c.message)
				cmd := exec.Command(path, args...)
				if first != "" {
					cmd.Args = append([]string{path, first}, args...)
				}
				cmd.Dir = dir
				cmd.Env = append(os.Environ(), "GIT_INDEX_FILE=index", "GIT_EDITOR="+c.editor)
				if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
					t.Errorf("%s: %v %s", shell, err, out)
				}
				data, err := os.ReadFile(filepath.Join(dir, ".git", "COMMIT_EDITMSG"))
				if err != nil {
					t.Fatal(err)
				}
				if string(data) != want {
					t.Errorf("the stub in %s wrote\n%q\nwant\n%q", shell, data, want)
				}
			}
		})
	}
}
