package main

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/chromedp/chromedp"

	"fettle/history/git/gittest"
)

// A machine goes on one sheet of A4, and so does a family, as a real browser prints them; a choice on the page gives each family of the
// machine a sheet of its own. On screens no page is wider than it may be.
func TestTrendPageOnPaper(t *testing.T) {
	ctx := chromium(t)
	gittest.Isolate()
	dir := t.TempDir()
	if out, code := inShell(t, dir, "fettle", "demo", "-q"); code != exitGood {
		t.Fatalf("exit code %d:\n%s", code, out)
	}
	demo := filepath.Join(dir, "fettle-demo")
	for id, value := range map[string]string{"bay-2/carbon-steel/oxygen/8mm": "cut.speed=4.25m/min", "bay-2/stainless-steel/nitrogen/3mm": "cut.pressure=12.4psi"} {
		if out, code := inShell(t, demo, "fettle", "set", id, value); code != exitGood {
			t.Fatalf("exit code %d:\n%s", code, out)
		}
	}
	sheet := regexp.MustCompile(`/Type /Page\b`)
	for _, c := range []struct {
		what, choose string
		sheets       int
	}{{"bay-2", "", 1}, {"bay-2", "#print-all", 8}, {"bay-2/carbon-steel/oxygen", "", 1}} {
		file := filepath.Join(dir, "page.html")
		if out, code := inShell(t, demo, "fettle", "trend", c.what, "--format", "html", "--out", file); code != exitGood {
			t.Fatalf("exit code %d:\n%s", code, out)
		}
		if err := chromedp.Do(ctx, chromedp.Navigate("file://"+file), chromedp.WaitVisible(chromedp.CSS("h1"))); err != nil {
			t.Fatal(err)
		}
		if c.choose != "" {
			if err := chromedp.Do(ctx, chromedp.Click(chromedp.CSS(c.choose))); err != nil {
				t.Fatal(err)
			}
		}
		pdf := answer(ctx, t, c.what, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
		if got := len(sheet.FindAll(pdf, -1)); got != c.sheets {
			t.Errorf("%s %s prints on %d sheets, want %d", c.what, c.choose, got, c.sheets)
		}
		if at := os.Getenv("FETTLE_SHOTS"); at != "" {
			os.WriteFile(filepath.Join(at, "trend.pdf"), pdf, 0o644)
		}
		for _, width := range []int64{360, 768, 1280} {
			for _, theme := range []string{"light", "dark"} {
				if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), inTheme(theme)); err != nil {
					t.Fatal(err)
				}
				if wide := answer(ctx, t, c.what, chromedp.Evaluate[float64]("document.documentElement.scrollWidth")); int64(wide) > width {
					t.Errorf("%s at %d: the page is %g wide", c.what, width, wide)
				}
			}
		}
	}
}
