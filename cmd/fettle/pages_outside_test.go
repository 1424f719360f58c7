package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"fettle/cmd/fettle/serve"
	"fettle/history/git/gittest"
)

// TestPagesJudgedByOthers writes every kind of page into the directory FETTLE_PAGES and has axe-core, whose file FETTLE_AXE names, look at
// each in a real browser, narrow in the dark theme and wide in the light one. What it finds stands in axe.tsv there. testdata/outside/pages/make.sh runs it, and
// has an HTML validator read the same files.
func TestPagesJudgedByOthers(t *testing.T) {
	dir, axe := os.Getenv("FETTLE_PAGES"), os.Getenv("FETTLE_AXE")
	if dir == "" || axe == "" {
		t.Skip("testdata/outside/pages/make.sh runs it")
	}
	script, err := os.ReadFile(axe)
	if err != nil {
		t.Fatal(err)
	}
	ctx := chromium(t)
	names := writePages(t, dir)
	var table strings.Builder
	for _, name := range names {
		found := map[string]int{}
		passed := 0
		for _, look := range []struct {
			width int64
			theme string
		}{{360, "dark"}, {1280, "light"}} {
			v, p := judgedByAxe(ctx, t, filepath.Join(dir, name+".html"), string(script), look.width, look.theme)
			passed += p
			for rule, text := range v {
				found[rule]++
				t.Errorf("%s, %s at %d: %s: %s", name, look.theme, look.width, rule, text)
			}
		}
		if passed < 20 {
			t.Errorf("%s: axe found only %d things to look at", name, passed)
		}
		fmt.Fprintf(&table, "%s\t%d\n", name, len(found))
	}
	if err := os.WriteFile(filepath.Join(dir, "axe.tsv"), []byte(table.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// judgedByAxe gives what axe finds on a page by rule, and how many rules were held.
func judgedByAxe(ctx context.Context, t *testing.T, file, script string, width int64, theme string) (found map[string]string, passed int) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), inTheme(theme), chromedp.Navigate("file://"+file), chromedp.WaitVisible(chromedp.CSS("body"))); err != nil {
		t.Fatal(err)
	}
	answer(ctx, t, "axe", chromedp.Evaluate[bool](script+"\n;true"))
	out := answer(ctx, t, "axe", chromedp.Evaluate[string](`axe.run(document, {resultTypes: ["violations"]}).then(r => JSON.stringify({passed: r.passes.length,
		found: r.violations.map(v => [v.id, v.help + ": " + v.nodes.slice(0, 3).map(n => n.target + " " + (n.any[0] || n.all[0] || n.none[0] || {message: ""}).message).join(" | ")])}))`, chromedp.EvalAwaitPromise))
	var result struct {
		Passed int         `json:"passed"`
		Found  [][2]string `json:"found"`
	}
	if err := json.Unmarshal([]byte(out), &result); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	found = map[string]string{}
	for _, f := range result.Found {
		found[f[0]] = f[1]
	}
	return found, result.Passed
}

// writePages writes a page of every kind, as files that a browser opens.
func writePages(t *testing.T, dir string) (names []string) {
	t.Helper()
	put := func(name string, page []byte) {
		t.Helper()
		if !bytes.HasPrefix(bytes.ToLower(page), []byte("<!doctype html>")) {
			t.Fatalf("%s is no page: %.200s", name, page)
		}
		if err := os.WriteFile(filepath.Join(dir, name+".html"), page, 0o644); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	b, demo := samplePage(t)
	_, sheet := b.get("/sheet.css")
	if err := os.WriteFile(filepath.Join(dir, "sheet.css"), []byte(sheet), 0o644); err != nil {
		t.Fatal(err)
	}
	base := regexp.MustCompile(`(href|action)="/[A-Za-z0-9_-]{12}/`)
	served := func(name, path string, code int) {
		t.Helper()
		got, page := b.get(path)
		if got != code {
			t.Fatalf("%s: %d", path, got)
		}
		put(name, base.ReplaceAll([]byte(page), []byte(`$1="`)))
	}
	printed := func(name string, args ...string) {
		t.Helper()
		out, code := inShell(t, demo, append([]string{"fettle", "-q"}, args...)...)
		if code != exitGood {
			t.Fatalf("%v: exit code %d\n%s", args, code, out)
		}
		put(name, []byte(out))
	}
	served("serve-queue", "/", 200)
	served("serve-review", "/review/"+waiting, 200)
	served("serve-condition", "/condition/"+waiting, 200)
	served("serve-family", "/family/bay-2/carbon-steel/oxygen", 200)
	served("serve-machine", "/machine/bay-2", 200)
	served("serve-search", "/search?q=oxygen", 200)
	served("serve-search-nothing", "/search?q="+url.QueryEscape("no such thing"), 200)
	served("serve-not-found", "/nope", 404)
	served("serve-roster", "/subject/roster/roster", 200)
	_, refused := b.post(b.wants("/review/"+waiting, 200), "reject", "")
	put("serve-refused", base.ReplaceAll([]byte(refused), []byte(`$1="`)))
	printed("review-1", "review", "--format", "html")
	printed("card", "show", waiting, "--format", "html")
	printed("trend", "trend", "bay-2", "--format", "html")
	printed("audit", "audit", "--format", "html")
	printed("trial", "trial", "show", waiting, "--format", "html")
	printed("trial-sheet", "trial", "plan", waiting, "--vary", "cut.pressure", "--seed", "1", "--no-commit", "--because", "Where it ends", "--format", "html")

	put("serve-working", base.ReplaceAll(workingPage(t), []byte(`$1="`)))

	manyChanges(t, demo)
	printed("review-300", "review", "--format", "html")
	served("serve-queue-300", "/", 200)
	served("serve-machine-300", "/subject/machine/bay-6", 200)
	return names
}

// workingPage is a page of which the beginning was sent before it was there.
func workingPage(t *testing.T) []byte {
	t.Helper()
	end := make(chan struct{})
	server := serve.New(serve.Options{Open: func(context.Context, time.Time) (serve.Library, error) {
		<-end
		return nil, &serve.NotFound{What: "time left"}
	}, Doing: func(bool) string { return "reading what is saved" }, Prompt: time.Nanosecond, Hosts: []string{"local"}, Errors: os.Stderr})
	entered := httptest.NewRecorder()
	server.ServeHTTP(entered, httptest.NewRequest(http.MethodGet, "http://local"+server.Entrance(), nil))
	at, _, _ := strings.Cut(server.Entrance(), "enter?")
	r := httptest.NewRequest(http.MethodGet, "http://local"+at, nil)
	for _, c := range entered.Result().Cookies() {
		r.AddCookie(c)
	}
	time.AfterFunc(50*time.Millisecond, func() { close(end) })
	page := httptest.NewRecorder()
	server.ServeHTTP(page, r)
	if !strings.Contains(page.Body.String(), "reading what is saved") || !strings.Contains(page.Body.String(), "time left") {
		t.Fatalf("%d %s", page.Code, page.Body)
	}
	return page.Body.Bytes()
}

// manyChanges adopts more machines like those of the sample and changes every condition, 320 in all.
func manyChanges(t *testing.T, dir string) {
	t.Helper()
	gittest.Isolate()
	sets, err := filepath.Glob(filepath.Join(dir, "sets", "bay-2", "*.json"))
	if err != nil || len(sets) == 0 {
		t.Fatal(sets, err)
	}
	change := func(path, to string, old, now string) {
		t.Helper()
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, bytes.ReplaceAll(data, []byte(old), []byte(now)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for n := 6; n <= 9; n++ {
		name := fmt.Sprintf("bay-%d", n)
		change(filepath.Join(dir, "machines", "bay-2.json"), filepath.Join(dir, "machines", name+".json"), "bay-2", name)
		for _, set := range sets {
			change(set, filepath.Join(dir, "sets", name, filepath.Base(set)), "bay-2", name)
		}
	}
	gitIn(t, dir, "add", "machines", "sets")
	gitIn(t, dir, "commit", "-q", "--no-verify", "-m", "Four more machines")
	if out, code := inShell(t, dir, "fettle", "adopt", "--because", "As the new ones cut"); code != exitGood {
		t.Fatalf("exit code %d: %s", code, out)
	}
	all, err := filepath.Glob(filepath.Join(dir, "sets", "*", "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	focus := regexp.MustCompile(`("focus": ")(-?[0-9.]+) mm`)
	for _, set := range all {
		data, err := os.ReadFile(set)
		if err != nil {
			t.Fatal(err)
		}
		data = focus.ReplaceAllFunc(data, func(m []byte) []byte {
			var f float64
			parts := focus.FindSubmatch(m)
			fmt.Sscan(string(parts[2]), &f)
			return fmt.Appendf(nil, "%s%.2f mm", parts[1], f+0.25)
		})
		if err := os.WriteFile(set, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	gitIn(t, dir, "commit", "-q", "--no-verify", "-a", "-m", "The focus of every condition")
}
