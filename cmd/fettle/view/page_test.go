package view_test

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/cmd/fettle/view"
)

var page = view.Page{Title: "What <happened>", Rows: []view.Row{{Label: "unit", Text: "bay-2"}}, Foot: []string{"that is all"},
	Sections: []view.Section{{Title: "Monday", Blocks: []view.Block{{Head: "06:00  Mara Lind  *loud*", Tone: view.Bad,
		Rows: []view.Row{{Text: "cut.speed   3 -> 4 m/min"}, {Label: "because", Text: "<script>alert(1)</script> \x1b[31m| _x_"}}}}}}}

func TestPageText(t *testing.T) {
	var lines []string
	page.Text(func(line string) { lines = append(lines, line) })
	want := `unit        bay-2

Monday
  06:00  Mara Lind  *loud*
         cut.speed   3 -> 4 m/min
         because     <script>alert(1)</script> ` + "\x1b[31m| _x_" + `

that is all`
	if diff := cmp.Diff(want, strings.Join(lines, "\n")); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// TestPageMarkdown: what people typed stands for itself.
func TestPageMarkdown(t *testing.T) {
	var b strings.Builder
	if err := page.Markdown(&b); err != nil {
		t.Fatal(err)
	}
	want := "# What &lt;happened&gt;\n\n- unit: bay-2\n\n## Monday\n\n- **06:00 · Mara Lind · \\*loud\\***\n  - cut.speed 3 -&gt; 4 m/min\n" +
		"  - because: &lt;script&gt;alert(1)&lt;/script&gt; \\\\u001b\\[31m\\| \\_x\\_\n\nthat is all\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// TestPageHTML: one well-formed file that loads nothing and runs nothing.
func TestPageHTML(t *testing.T) {
	var b strings.Builder
	if err := page.HTML(&b); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	if strings.Contains(text, "<script") || !strings.Contains(text, "&lt;script&gt;") || !strings.Contains(text, "default-src 'none'") || strings.Contains(text, "http://") || strings.Contains(text, "https://") {
		t.Errorf("the page holds what it must not:\n%s", text)
	}
	if !strings.Contains(text, `<article class="bad">`) {
		t.Error("the tone is lost")
	}
	d := xml.NewDecoder(strings.NewReader(text))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
