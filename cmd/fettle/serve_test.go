package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fettle/cmd/fettle/serve"
	"fettle/history/git/gittest"
	"fettle/history/signature"
	"fettle/schema"
)

// A browser is a client of the local page that keeps cookies and sends what browsers send.
type browser struct {
	t        *testing.T
	base     string // with the random part
	entrance string
	http     *http.Client
}

// pageOf serves the library in dir and enters.
func pageOf(t *testing.T, dir string) *browser { return pageBy(t, dir, false) }

// pageBy is pageOf by parts of the library or by all of it.
func pageBy(t *testing.T, dir string, entire bool) *browser {
	t.Helper()
	a := &app{entire: entire, in: strings.NewReader(""), out: io.Discard, err: io.Discard, dir: dir, format: "text", now: clock}
	var server *serve.Server
	l := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { server.ServeHTTP(w, r) }))
	t.Cleanup(l.Close)
	at, err := url.Parse(l.URL)
	if err != nil {
		t.Fatal(err)
	}
	desk := a.newDesk()
	server = serve.New(serve.Options{Open: desk.open, Doing: desk.Doing, Keep: true, Prompt: time.Minute, Patience: time.Minute, Hosts: []string{at.Host}, Errors: os.Stderr})
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	entrance := server.Entrance()
	b := &browser{t, l.URL + entrance[:strings.Index(entrance, "/enter")], l.URL + entrance, &http.Client{Jar: jar}}
	if code, body := b.get("/enter?" + entrance[strings.Index(entrance, "key="):]); code != 200 {
		t.Fatalf("entering: %d %s", code, body)
	}
	return b
}

func (b *browser) get(path string) (code int, body string) {
	b.t.Helper()
	r, err := http.NewRequestWithContext(context.Background(), http.MethodGet, b.base+path, nil)
	if err != nil {
		b.t.Fatal(err)
	}
	return b.do(r)
}

func (b *browser) do(r *http.Request) (code int, body string) {
	b.t.Helper()
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	w, err := b.http.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer w.Body.Close()
	data, err := io.ReadAll(w.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return w.StatusCode, string(data)
}

var hiddenInput = regexp.MustCompile(`<input type="hidden" name="([a-z]+)" value="([^"]*)">`)

// fill takes the hidden inputs of a form on a page.
func fill(page string) url.Values {
	v := url.Values{}
	for _, m := range hiddenInput.FindAllStringSubmatch(page, -1) {
		v.Set(m[1], m[2])
	}
	return v
}

// post sends the form of a page.
func (b *browser) post(page, decision, because string) (code int, body string) {
	b.t.Helper()
	v := fill(page)
	v.Set("decision", decision)
	v.Set("because", because)
	r, err := http.NewRequestWithContext(context.Background(), http.MethodPost, b.base+"/decide", strings.NewReader(v.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", b.base[:strings.LastIndex(b.base, "/")])
	return b.do(r)
}

func (b *browser) wants(path string, code int, words ...string) (page string) {
	b.t.Helper()
	got, page := b.get(path)
	if got != code {
		b.t.Fatalf("%s: %d, want %d\n%s", path, got, code, page)
	}
	for _, w := range words {
		if !strings.Contains(page, w) {
			b.t.Errorf("%s does not hold %q", path, w)
		}
	}
	return page
}

const waiting = "bay-2/carbon-steel/oxygen/10mm"

// samplePage is the page of the sample shop, where a change of one condition waits for Jonas Falk.
func samplePage(t *testing.T) (*browser, string) {
	t.Helper()
	gittest.Isolate()
	dir := t.TempDir()
	if out, code := inShell(t, dir, "fettle", "demo", "-q"); code != exitGood {
		t.Fatalf("exit code %d:\n%s", code, out)
	}
	dir = filepath.Join(dir, "fettle-demo")
	return pageOf(t, dir), dir
}

func gitIn(t *testing.T, dir string, args ...string) string {
	t.Helper()
	out, err := exec.Command("git", append([]string{"-C", dir}, args...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("git %v: %v\n%s", args, err, out)
	}
	return string(out)
}

// TestServeStory rejects a change on the page, mends it at the terminal, approves it on the page, and holds the records on disk to fettle
// verify, and their signatures to ssh-keygen.
func TestServeStory(t *testing.T) {
	b, dir := samplePage(t)
	b.wants("/", 200, "1 condition waits for a decision: changed.", `/review/`+waiting+`"`)
	card := b.wants("/review/"+waiting, 200, "changed since it was approved", "0.46 bar", "Decide, as Jonas Falk", "dross on the back edge")

	// A rejection asks for a reason, and one with a reason is on disk.
	if code, page := b.post(card, "reject", "  "); code != 409 || !strings.Contains(page, "a rejection needs a reason") {
		t.Fatalf("a rejection without a reason: %d\n%s", code, page)
	}
	if code, page := b.post(card, "reject", "Too much gas; try 0.44 <b>bar</b> first"); code != 200 || !strings.Contains(page, "Rejected: "+waiting) {
		t.Fatalf("a rejection: %d\n%s", code, page)
	}
	b.wants("/review/"+waiting, 200, "rejected on", "Too much gas; try 0.44 &lt;b&gt;bar&lt;/b&gt; first")
	if subject := gitIn(t, dir, "log", "-1", "--format=%s"); strings.TrimSpace(subject) != "Rejected "+waiting {
		t.Errorf("the last commit is %q", subject)
	}

	// What is rejected and unchanged is decided: the page says what whoever made the change does next, and offers no form.
	if page := b.wants("/review/"+waiting, 200, "fettle put-back "+waiting); strings.Contains(page, "<form method=\"post\"") {
		t.Error("a rejected recipe is offered for approval")
	}
	b.wants("/", 200, "No condition waits for a decision.", "1 was rejected and waits for another change")

	// Mara mends it at the terminal; what the page showed before is not what Jonas would sign now.
	old := card
	run := func(args ...string) {
		t.Helper()
		if out, code := inShell(t, dir, args...); code != exitGood {
			t.Fatalf("%v: exit code %d\n%s", args, code, out)
		}
	}
	run("fettle", "set", waiting, "cut.pressure=0.44bar")
	run("fettle", "save", "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "Less gas", "--by", "mara.lind")
	if code, page := b.post(old, "approve", ""); code != 409 || !strings.Contains(page, "changed since you looked at it; nothing was decided") {
		t.Fatalf("approving what is no longer there: %d\n%s", code, page)
	}

	b.wants("/condition/"+waiting, 200, "What trials show", "Less gas", "energy per area", "0.44 bar", "pierce1")
	b.wants("/history/"+waiting, 200, "Less gas", "Too much gas; try 0.44")
	b.wants("/history/bay-2", 404)
	b.wants("/family/bay-2/carbon-steel/oxygen", 200, "<svg", "10mm")
	b.wants("/machine/bay-2", 200, "rated power 6 kW", "double 1.5 mm")
	b.wants("/search?q=galvanized", 200, "/condition/bay-2/galvanized-steel/nitrogen/")
	b.wants("/search?q=no-such-thing", 200, "Nothing fits")
	for _, path := range []string{"/condition/bay-2", "/condition/bay-2/carbon-steel/oxygen/11mm", "/review/%2e%2e/%2e%2e/etc/passwd", "/family/..%2f..%2fetc", "/machine/..%2fbay-2", "/condition/fettle.json", "/machine/bay-2.json",
		"/condition/bay-2%2fcarbon-steel%2foxygen%2f10mm%00", "/.git/config"} {
		if code, page := b.get(path); code != 404 || strings.Contains(page, "root:") || strings.Contains(page, "[core]") {
			t.Errorf("%s: %d", path, code)
		}
	}
}

// TestServeApproves signs on the page, and ssh-keygen agrees with the signature.
func TestServeApproves(t *testing.T) {
	b, dir := samplePage(t)
	card := b.wants("/review/"+waiting, 200)
	if code, page := b.post(card, "approve", "Looked at the flanges, clean"); code != 200 || !strings.Contains(page, "Approved: "+waiting) || !strings.Contains(page, "No condition waits for a decision.") {
		t.Fatalf("an approval: %d\n%s", code, page)
	}
	b.wants("/review/"+waiting, 200, "unchanged since it was approved")
	if out, code := inShell(t, dir, "fettle", "verify"); code != exitGood {
		t.Errorf("verify: exit code %d\n%s", code, out)
	}
	path := strings.TrimSpace(gitIn(t, dir, "show", "--format=", "--name-only", "HEAD"))
	if !strings.Contains(path, "-approval-") || strings.Contains(path, "\n") {
		t.Fatalf("the commit holds %q", path)
	}
	data, err := os.ReadFile(filepath.Join(dir, path))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(data, []byte("Looked at the flanges, clean")) {
		t.Errorf("the record does not say why: %s", data)
	}
	r := schema.ReadRecord(path, data)
	signature := filepath.Join(t.TempDir(), "signature")
	if err := os.WriteFile(signature, []byte(r.Signature.V), 0o600); err != nil {
		t.Fatal(err)
	}
	check := exec.Command("ssh-keygen", "-Y", "verify", "-f", filepath.Join(dir, schema.RosterFile), "-I", r.By.V, "-n", "fettle", "-s", signature,
		"-Overify-time="+r.Time().UTC().Format("20060102150405Z"))
	check.Stdin = bytes.NewReader(r.Message)
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("ssh-keygen: %v: %s", err, out)
	}
	// A second time there is nothing to decide, and no second record.
	before := gitIn(t, dir, "rev-parse", "HEAD")
	if code, page := b.post(card, "approve", ""); code >= 500 {
		t.Errorf("once more: %d\n%s", code, page)
	}
	if after := gitIn(t, dir, "rev-parse", "HEAD"); after != before {
		t.Error("an approval of what is approved made a record")
	}
}

// TestServeOnlyShows holds the page to what whoever sits there may do: nothing without a key, and not what the policy refuses.
func TestServeOnlyShows(t *testing.T) {
	b, dir := samplePage(t)
	card := b.wants("/review/"+waiting, 200, "<textarea")
	for _, key := range []string{"user.signingkey", "fettle.signingkey"} {
		gitIn(t, dir, "config", key, "")
	}
	page := b.wants("/review/"+waiting, 200, "Nothing can be decided here", "no signing key")
	if strings.Contains(page, "<form method=\"post\"") {
		t.Error("there is a form without a key")
	}
	before := gitIn(t, dir, "rev-parse", "HEAD")
	if code, page := b.post(card, "approve", "all the same"); code != 409 || !strings.Contains(page, "no signing key") {
		t.Errorf("a form from before: %d\n%s", code, page)
	}
	if after := gitIn(t, dir, "rev-parse", "HEAD"); after != before || gitIn(t, dir, "status", "--porcelain") != "" {
		t.Error("something was written")
	}
}

// TestServeDecidesOnOthers decides on a machine, the settings and the roster, each as it was looked at.
func TestServeDecidesOnOthers(t *testing.T) {
	b, dir := samplePage(t)
	edit := func(path, old, now string) {
		t.Helper()
		file := filepath.Join(dir, path)
		data, err := os.ReadFile(file)
		if err != nil || !bytes.Contains(data, []byte(old)) {
			t.Fatalf("%s: %v, or no %q in it", path, err, old)
		}
		if err := os.WriteFile(file, bytes.Replace(data, []byte(old), []byte(now), 1), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	roster, err := os.ReadFile(filepath.Join(dir, schema.RosterFile))
	if err != nil {
		t.Fatal(err)
	}
	seed := [32]byte{7}
	key, err := signature.GenerateFrom(seed, filepath.Join(t.TempDir(), "iris"), "iris")
	if err != nil {
		t.Fatal(err)
	}
	line, err := signature.FormatLine("iris.brandt@northgate.example", key.PublicKey(), "")
	if err != nil {
		t.Fatal(err)
	}
	edit("machines/bay-2.json", `"rated_power": "6 kW"`, `"rated_power": "6.5 kW"`)
	edit("fettle.json", `"machine_hour": 85`, `"machine_hour": 92`)
	if err := os.WriteFile(filepath.Join(dir, schema.RosterFile), append(roster, line+"\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	gitIn(t, dir, "commit", "-q", "--no-verify", "-a", "-m", "Another hour, another source, one more person")

	b.wants("/", 200, "/subject/machine/bay-2", "6 kW → 6.5 kW", "/subject/settings/settings", "85 → 92", "/subject/roster/roster", "iris.brandt@northgate.example")
	b.wants("/machine/bay-2", 200, "/subject/machine/bay-2")
	for _, path := range []string{"/subject/machine/bay-9", "/subject/machine/..%2fbay-2", "/subject/roster/people", "/subject/condition/x", "/subject/constructor/x"} {
		b.wants(path, 404)
	}
	machine := b.wants("/subject/machine/bay-2", 200, "changed since it was approved", "6 kW", "6.5 kW", "&#43;8.3 %", "Decide, as Jonas Falk")
	if code, page := b.post(machine, "approve", "The new source"); code != 200 || !strings.Contains(page, "Approved: machine bay-2") {
		t.Fatalf("approving a machine: %d\n%s", code, page)
	}
	if page := b.wants("/subject/machine/bay-2", 200, "as it was approved"); strings.Contains(page, "<form method=\"post\"") {
		t.Error("what is approved is offered again")
	}
	settings := b.wants("/subject/settings/settings", 200)
	if code, page := b.post(settings, "reject", ""); code != 409 || !strings.Contains(page, "a rejection needs a reason") {
		t.Fatalf("a rejection without a reason: %d\n%s", code, page)
	}
	if code, page := b.post(settings, "reject", "It is 90"); code != 200 || !strings.Contains(page, "Rejected: settings") {
		t.Fatalf("rejecting settings: %d\n%s", code, page)
	}
	old := b.wants("/subject/roster/roster", 200, key.PublicKey().Type(), strings.ReplaceAll(signature.Fingerprint(key.PublicKey()), "+", "&#43;"))
	edit(schema.RosterFile, "iris.brandt@", "iris.brand@")
	gitIn(t, dir, "commit", "-q", "--no-verify", "-a", "-m", "Somebody else")
	if code, page := b.post(old, "approve", ""); code != 409 || !strings.Contains(page, "roster changed since you looked at it; nothing was decided") {
		t.Fatalf("approving a roster that nobody saw: %d\n%s", code, page)
	}
	if code, page := b.post(b.wants("/subject/roster/roster", 200), "approve", ""); code != 200 || !strings.Contains(page, "Approved: roster") {
		t.Fatalf("approving a roster: %d\n%s", code, page)
	}
	if out, code := inShell(t, dir, "fettle", "verify"); code != exitGood {
		t.Errorf("verify: exit code %d\n%s", code, out)
	}
	subjects := gitIn(t, dir, "log", "-5", "--format=%s")
	for _, want := range []string{"Approved machine bay-2\n", "Rejected settings\n", "Approved roster\n"} {
		if !strings.Contains(subjects, want) {
			t.Errorf("%q is not among what was saved: %s", want, subjects)
		}
	}
}

// TestServeHoldsToTheMachine refuses an approval from a page that lay open while another lens came into the machine: the record would say
// that the recipe was approved for a machine that nobody looked at.
func TestServeHoldsToTheMachine(t *testing.T) {
	b, dir := samplePage(t)
	replaced := func(path, old, now string) {
		t.Helper()
		file := filepath.Join(dir, path)
		data, err := os.ReadFile(file)
		if err != nil || !bytes.Contains(data, []byte(old)) {
			t.Fatalf("%s: %v, or no %q in it", path, err, old)
		}
		if err := os.WriteFile(file, bytes.Replace(data, []byte(old), []byte(now), 1), 0o644); err != nil {
			t.Fatal(err)
		}
		gitIn(t, dir, "commit", "-q", "--no-verify", "-a", "-m", now)
	}
	replaced("fettle.json", `"trial": "require"`, `"trial": "off"`)
	if out, code := inShell(t, dir, "fettle", "approve", "settings"); code != exitGood {
		t.Fatalf("exit code %d\n%s", code, out)
	}
	const stale = "bay-2/carbon-steel/oxygen/6mm"
	replaced("machines/bay-2.json", `"focal_length": "200 mm"`, `"focal_length": "190 mm"`)
	card := b.wants("/review/"+stale, 200, "200 mm", "190 mm", "Decide, as Jonas Falk")
	replaced("machines/bay-2.json", `"focal_length": "190 mm"`, `"focal_length": "150 mm"`)
	before := gitIn(t, dir, "rev-parse", "HEAD")
	if code, page := b.post(card, "approve", "Focus test good"); code != 409 || !strings.Contains(page, "changed since you looked at it; nothing was decided") {
		t.Fatalf("approving for a lens that nobody saw: %d\n%s", code, page)
	}
	if after := gitIn(t, dir, "rev-parse", "HEAD"); after != before {
		t.Error("something was saved")
	}
	card = b.wants("/review/"+stale, 200, "150 mm")
	if code, page := b.post(card, "approve", "Focus test good"); code != 200 || !strings.Contains(page, "Approved: "+stale) {
		t.Fatalf("approving what is shown: %d\n%s", code, page)
	}
}
