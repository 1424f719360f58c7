package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// serve starts the local page on a library and prints how long its pages take to their first byte, alone and to fifty clients at once.
func (b *bench) serve(size string) error {
	cmd := exec.Command(b.program, "serve")
	cmd.Dir, cmd.Stderr = b.library(size), os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	defer cmd.Process.Kill()
	entrance := ""
	lines := bufio.NewScanner(out)
	for entrance == "" && lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "http://"); ok {
			entrance = "http://" + strings.TrimSpace(address)
		}
	}
	if entrance == "" {
		return errors.New("serve printed no address")
	}
	go io.Copy(io.Discard, out)
	jar, err := cookiejar.New(nil)
	if err != nil {
		return err
	}
	client := &http.Client{Jar: jar, Transport: &http.Transport{MaxIdleConnsPerHost: 50}}
	get := func(address string) (time.Duration, error) {
		start := time.Now()
		answer, err := client.Get(address)
		if err != nil {
			return 0, err
		}
		took := time.Since(start)
		defer answer.Body.Close()
		_, err = io.Copy(io.Discard, answer.Body)
		if err == nil && (answer.StatusCode != http.StatusOK || answer.Header.Get("Refresh") != "") {
			err = fmt.Errorf("%s: %s, or not there yet", answer.Request.URL.Path, answer.Status)
		}
		return took, err
	}
	root, _, _ := strings.Cut(entrance, "/enter")
	first := time.Now()
	get(entrance) // gives the cookie, and leads on
	for {         // a page that says how far it is asks to be asked again
		if _, err = get(root + "/"); err == nil || time.Since(first) > 5*time.Minute {
			break
		}
		time.Sleep(200 * time.Millisecond)
	}
	if err != nil {
		return err
	}
	fmt.Printf("\nserve on %s: the first page was whole after %.1f s\n\n", size, time.Since(first).Seconds())
	fmt.Println("| page, to the first byte | alone, ms | fifty clients at once, ms | the slowest | errors | target |")
	fmt.Println("|---|---:|---:|---:|---:|---|")
	for _, page := range []struct{ name, path string }{{"queue", "/"}, {"condition", "/condition/bay-001/carbon-steel/oxygen/3mm"}} {
		alone := make([]time.Duration, 0, 20)
		for range cap(alone) {
			took, err := get(root + page.path)
			if err != nil {
				return err
			}
			alone = append(alone, took)
		}
		var mutex sync.Mutex
		var together []time.Duration
		failed := 0
		var wait sync.WaitGroup
		for range 50 {
			wait.Go(func() {
				for range 10 {
					took, err := get(root + page.path)
					mutex.Lock()
					if together = append(together, took); err != nil {
						failed++
					}
					mutex.Unlock()
				}
			})
		}
		wait.Wait()
		middle := median(together)
		fmt.Printf("| %s | %.1f | %.1f | %.1f | %d | ≤ 50 ms, no error |\n", page.name, ms(median(alone)), ms(middle), ms(slices.Max(together)), failed)
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	cmd.Wait()
	if usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		fmt.Printf("\npeak memory of serve: %d MB\n", usage.Maxrss>>10)
	}
	return nil
}

// memory prints the largest memory of every command that reads a library, with nothing remembered. What a command writes is taken back.
func (b *bench) memory(size string) error {
	dir, id := b.library(size), "bay-001/carbon-steel/oxygen/3mm"
	edit, reason := "set "+id+" cut.pressure=1.07bar", "reason "+id+" --cause trial-result --because timing"
	base, err := exec.Command("git", "-C", dir, "rev-parse", "HEAD").Output()
	if err != nil {
		return err
	}
	restore := func() error {
		if err := git(dir, nil, "reset", "-q", "--hard", strings.TrimSpace(string(base))); err != nil {
			return err
		}
		return git(dir, nil, "clean", "-fdq")
	}
	fmt.Println("\n| command, nothing remembered, " + size + " | peak, MB | seconds |")
	fmt.Println("|---|---:|---:|")
	for _, row := range []struct {
		command string
		before  []string // commands of fettle
	}{{"lint --quiet", nil}, {"review " + id, nil}, {"review", nil}, {"audit " + id, nil}, {"audit", nil}, {"show " + id, nil}, {"status", nil}, {"verify", nil},
		{"trend bay-001/carbon-steel/oxygen", nil}, {"trend bay-001", nil}, {"suggest bay-001/carbon-steel/oxygen/3.1mm", nil}, {"export", nil},
		{"export --current --format json", nil}, {"export bay-001/carbon-steel/", nil}, {"compare --range HEAD~1..HEAD", nil}, {"compare bay-001 bay-002", nil},
		{edit, nil}, {"put-back " + id, []string{edit}}, {"copy " + id + " 3.07mm", nil},
		{"copy bay-001 bay-new", nil}, {"reason --cause trial-result --because timing", []string{edit}}, {"undo", []string{edit, reason}},
		{"save --cause trial-result --because timing", []string{edit}}, {"load " + id + " --current", nil}, {"triage " + id + " --symptom dross", nil},
		{"trial plan " + id + " --vary cut.pressure", nil}, {"trial record " + id + " --good", nil}, {"trial show", nil}, {"rules", nil},
		{"git commit -q -m refused", []string{"hooks install", edit}}, {"git commit -q -m taken", []string{"hooks install", edit, reason}}} {
		args := append([]string{b.program}, strings.Fields(row.command)...)
		if args[1] == "git" {
			args = args[1:]
		}
		for _, line := range row.before {
			if _, _, _, err := timed(dir, append([]string{b.program}, strings.Fields(line)...), true); err != nil {
				return err
			}
		}
		if args[0] == "git" {
			if err := git(dir, nil, "add", "-A"); err != nil {
				return err
			}
		}
		if err := forget(dir); err != nil {
			return err
		}
		took, _, peak, err := timed(dir, args, true)
		if err != nil {
			fmt.Printf("| `%s` | %s | |\n", row.command, strings.ReplaceAll(strings.SplitN(err.Error(), "\n", 2)[0], "|", "/"))
		} else {
			fmt.Printf("| `%s` | %d | %.1f |\n", row.command, peak>>20, took.Seconds())
		}
		if err := restore(); err != nil {
			return err
		}
	}
	return nil
}
