package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// A served is the local page of a library while it runs.
type served struct {
	cmd    *exec.Cmd
	root   string // of its addresses
	client *http.Client
}

// startServe starts the local page on a library, and returns when it has printed its address.
func (b *bench) startServe(size string) (*served, error) {
	s := &served{cmd: exec.Command(b.program, "serve")}
	s.cmd.Dir, s.cmd.Stderr = b.library(size), os.Stderr
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := s.cmd.Start(); err != nil {
		return nil, err
	}
	entrance := ""
	lines := bufio.NewScanner(out)
	for entrance == "" && lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "http://"); ok {
			entrance = "http://" + strings.TrimSpace(address)
		}
	}
	if entrance == "" {
		s.cmd.Process.Kill()
		return nil, errors.New("serve printed no address")
	}
	go io.Copy(io.Discard, out)
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	s.client = &http.Client{Jar: jar, Transport: &http.Transport{MaxIdleConnsPerHost: 50}}
	s.root, _, _ = strings.Cut(entrance, "/enter")
	if _, _, err := s.get(strings.TrimPrefix(entrance, s.root)); err != nil { // gives the cookie
		return nil, err
	}
	return s, nil
}

// get asks for a page, and says how long its first byte took and the whole of it.
func (s *served) get(path string) (first, whole time.Duration, err error) {
	start := time.Now()
	answer, err := s.client.Get(s.root + path)
	if err != nil {
		return 0, 0, err
	}
	defer answer.Body.Close()
	body := bufio.NewReader(answer.Body)
	if _, err := body.ReadByte(); err != nil {
		return 0, 0, err
	}
	first = time.Since(start)
	rest, err := io.ReadAll(body)
	whole = time.Since(start)
	if err == nil && (answer.StatusCode != http.StatusOK || !bytes.HasSuffix(rest, []byte("</html>\n")) && !bytes.HasSuffix(rest, []byte("</html>")) || bytes.Contains(rest, []byte(`role="alert"`))) {
		err = fmt.Errorf("%s: %s, or not whole", answer.Request.URL.Path, answer.Status)
	}
	return first, whole, err
}

// stop ends it, and says how much memory it took at most.
func (s *served) stop() (peak int64, err error) {
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return 0, err
	}
	s.cmd.Wait()
	if usage, ok := s.cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		peak = usage.Maxrss << 10
	}
	return peak, nil
}

// serve prints how long the pages of a library take: the first of their kind, after a restart and after a save, and those that are kept, alone and to
// fifty clients at once.
func (b *bench) serve(size string) error {
	const condition = "/condition/bay-001/carbon-steel/oxygen/%dmm"
	dir := b.library(size)
	fmt.Printf("\n| page of serve, %s | first byte, ms | whole, ms | the slowest first byte | errors | target |\n", size)
	fmt.Println("|---|---:|---:|---:|---:|---|")
	ask := func(s *served, name, path string, clients, times int) {
		var mutex sync.Mutex
		var first, whole []time.Duration
		failed := 0
		var wait sync.WaitGroup
		for range clients {
			wait.Go(func() {
				for range times {
					f, w, err := s.get(path)
					mutex.Lock()
					if first, whole = append(first, f), append(whole, w); err != nil {
						failed++
					}
					mutex.Unlock()
				}
			})
		}
		wait.Wait()
		fmt.Printf("| %s | %.1f | %.1f | %.1f | %d | first byte ≤ 50 ms, no error |\n", name, ms(median(first)), ms(median(whole)), ms(slices.Max(first)), failed)
	}
	if err := forget(dir); err != nil {
		return err
	}
	s, err := b.startServe(size)
	if err != nil {
		return err
	}
	defer func() { s.cmd.Process.Kill() }()
	ask(s, "the first queue, nothing remembered, 50 clients", "/", 50, 1)
	ask(s, "the first page of a condition, 50 clients", fmt.Sprintf(condition, 3), 50, 1)
	for _, page := range []struct{ name, path string }{{"queue", "/"}, {"condition", fmt.Sprintf(condition, 3)}} {
		ask(s, page.name+", again", page.path, 1, 20)
		ask(s, page.name+", again, 50 clients", page.path, 50, 10)
	}
	peak, err := s.stop()
	if err != nil {
		return err
	}
	for _, row := range []struct {
		name string
		wait time.Duration // before it is asked for
	}{{"the first queue after a restart", 0}, {"the same, a second after it", time.Second}} {
		if s, err = b.startServe(size); err != nil {
			return err
		}
		time.Sleep(row.wait)
		ask(s, row.name, "/", 1, 1)
		if row.wait == 0 {
			if _, err := s.stop(); err != nil {
				return err
			}
		}
	}
	ask(s, "the first page of a condition of another set", "/condition/bay-002/carbon-steel/oxygen/3mm", 1, 1)
	set := filepath.Join(dir, "sets", "bay-001", "carbon-steel-oxygen.json")
	before, err := os.ReadFile(set)
	if err != nil {
		return err
	}
	head, err := exec.Command("git", "-C", dir, "rev-parse", "HEAD").Output()
	if err != nil {
		return err
	}
	defer git(dir, nil, "reset", "-q", "--hard", strings.TrimSpace(string(head)))
	after := bytes.Replace(before, []byte(`"kerf": "0.`), []byte(`"kerf": "0.0`), 1)
	if bytes.Equal(before, after) {
		return errors.New("nothing to change in " + set)
	}
	if err := os.WriteFile(set, after, 0o644); err != nil {
		return err
	}
	if err := git(dir, nil, "-c", "core.hooksPath="+os.DevNull, "commit", "-q", "-a", "-m", "one condition"); err != nil {
		return err
	}
	ask(s, "queue, after a save of one condition", "/", 1, 1)
	ask(s, "queue, a moment later", "/", 1, 1)
	ask(s, "condition, after it", fmt.Sprintf(condition, 3), 1, 1)
	again, err := s.stop()
	fmt.Printf("\npeak memory of serve: %d MB, after a restart %d MB\n", peak>>20, again>>20)
	return err
}
