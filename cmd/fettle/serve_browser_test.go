package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/chromedp"
)

// chromium starts a real browser; the test is left out where there is none.
func chromium(t *testing.T) context.Context {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if at, err := exec.LookPath(name); err == nil {
			program = at
			break
		}
	}
	if program == "" || testing.Short() {
		t.Skip("no browser here")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.WSURLReadTimeout(time.Minute))
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(end)
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(stop)
	return ctx
}

// inTheme shows a page as somebody who likes it light or dark has it.
func inTheme(theme string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}})
		return none, err
	}
}

// answer runs an action that has a result.
func answer[T any](ctx context.Context, t *testing.T, what string, action chromedp.Action[T]) T {
	t.Helper()
	out, err := chromedp.Run(ctx, action)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	return out
}

// TestServeInABrowser drives the whole story with a keyboard's means in a real browser: queue, card, reject with a reason, a fix at the
// terminal, approve. With FETTLE_SHOTS set to a directory it leaves pictures there, to be looked at.
func TestServeInABrowser(t *testing.T) {
	ctx := chromium(t)
	b, dir := samplePage(t)
	shots := os.Getenv("FETTLE_SHOTS")
	err := chromedp.Listen(ctx, func(event any) {
		if e, ok := event.(*log.EventEntryAdded); ok && e.Entry.Level == log.EntryLevelError && !strings.Contains(e.Entry.URL, "favicon") {
			t.Errorf("the browser says: %s %s", e.Entry.Text, e.Entry.URL)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	do := func(what string, actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, actions...); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	has := func(words ...string) {
		t.Helper()
		page := answer(ctx, t, "reading", chromedp.Text(chromedp.CSS("body")))
		for _, w := range words {
			if !strings.Contains(page, w) {
				t.Errorf("the page does not say %q:\n%s", w, page)
			}
		}
	}
	// look holds a page to fit into every width, in both themes, and takes pictures.
	look := func(name string) {
		t.Helper()
		for _, width := range []int64{360, 768, 1280, 2560} {
			for _, theme := range []string{"light", "dark"} {
				do(name, chromedp.EmulateViewport(width, 900), inTheme(theme))
				if wide := answer(ctx, t, name, chromedp.Evaluate[float64]("document.documentElement.scrollWidth")); int64(wide) > width {
					t.Errorf("%s at %d: the page is %g wide", name, width, wide)
				}
				if shots != "" && width != 768 {
					picture := answer(ctx, t, name, chromedp.FullScreenshot(100))
					os.WriteFile(filepath.Join(shots, fmt.Sprintf("%s-%d-%s.png", name, width, theme)), picture, 0o644)
				}
			}
		}
		if shots != "" {
			os.WriteFile(filepath.Join(shots, name+".pdf"), answer(ctx, t, name, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize())), 0o644)
		}
		do(name, chromedp.EmulateViewport(1280, 900))
	}
	do("entering", chromedp.Navigate(b.entrance), chromedp.WaitVisible(chromedp.CSS("table.queue")))
	has("1 condition waits for a decision: changed.", "signs", "Jonas Falk")
	if at := answer(ctx, t, "the address", chromedp.Location()); strings.Contains(at, "key=") {
		t.Errorf("the key stays in the address: %s", at)
	}
	look("queue")
	do("the card", chromedp.Click(chromedp.CSS(`a[href$="/review/`+waiting+`"]`)), chromedp.WaitVisible(chromedp.CSS("#because")))
	has("0.46 bar", "dross on the back edge", "Decide, as Jonas Falk")
	look("review")
	do("rejecting", chromedp.SendKeys(chromedp.CSS("#because"), "Too much gas, try 0.44 bar"), chromedp.Click(chromedp.CSS("button.no")), chromedp.WaitVisible(chromedp.CSS(".notice.good")))
	has("Rejected: " + waiting)

	// Mara mends it at her PC.
	person := func(name, email string) {
		gitIn(t, dir, "config", "user.name", name)
		gitIn(t, dir, "config", "user.email", email)
	}
	who, mail := strings.TrimSpace(gitIn(t, dir, "config", "user.name")), strings.TrimSpace(gitIn(t, dir, "config", "user.email"))
	person("Mara Lind", "mara.lind@northgate.example")
	for _, args := range [][]string{{"set", waiting, "cut.pressure=0.44bar"}, {"trial", "record", waiting, "--good", "--unit", "bay-2"},
		{"save", "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "Less gas"}} {
		if out, code := inShell(t, dir, append([]string{"fettle"}, args...)...); code != exitGood {
			t.Fatalf("%v: exit code %d\n%s", args, code, out)
		}
	}
	person(who, mail)

	do("approving", chromedp.Navigate(b.base+"/review/"+waiting), chromedp.WaitVisible(chromedp.CSS("button.yes:not([disabled])")), chromedp.Click(chromedp.CSS("button.yes")),
		chromedp.WaitVisible(chromedp.CSS(".notice.good")))
	has("Approved: "+waiting, "No condition waits for a decision.")
	for name, path := range map[string]string{"condition": "/condition/" + waiting, "family": "/family/bay-2/carbon-steel/oxygen", "machine": "/machine/bay-2", "search": "/search?q=oxygen"} {
		do(name, chromedp.Navigate(b.base+path), chromedp.WaitVisible(chromedp.CSS("main")))
		look(name)
	}
	if out, code := inShell(t, dir, "fettle", "verify"); code != exitGood {
		t.Errorf("verify: exit code %d\n%s", code, out)
	}
	if subjects := gitIn(t, dir, "log", "-5", "--format=%s"); !strings.HasPrefix(subjects, "Approved "+waiting+"\n") || !strings.Contains(subjects, "\nRejected "+waiting+"\n") {
		t.Errorf("saved: %s", subjects)
	}
}
