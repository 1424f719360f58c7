package demo

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
)

// stream is the history in the form that git fast-import reads (git-fast-import(1)): each commit with who, when, the message and
// the files that it writes. The last line tells git that nothing was cut off.
func stream(commits []commit) []byte {
	var b bytes.Buffer
	b.WriteString("feature done\n")
	for _, c := range commits {
		who := fmt.Sprintf("%s <%s> %d +0000\n", c.by.Name, c.by.Principal, c.at.Unix())
		fmt.Fprintf(&b, "commit refs/heads/main\nauthor %scommitter %s", who, who)
		data(&b, []byte(c.message))
		for _, path := range slices.Sorted(maps.Keys(c.files)) {
			fmt.Fprintf(&b, "M 100644 inline %s\n", path)
			data(&b, c.files[path])
		}
	}
	b.WriteString("done\n")
	return b.Bytes()
}

func data(b *bytes.Buffer, content []byte) {
	fmt.Fprintf(b, "data %d\n", len(content))
	b.Write(content)
	b.WriteByte('\n')
}
