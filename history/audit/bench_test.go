package audit_test

import (
	"fmt"
	"strings"
	"testing"

	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
)

// longHistory is a library of twenty sets of ten conditions with many commits, of which each changes one value; every tenth is a
// merge of a side branch, and every third commit touches nothing of the library.
func longHistory(tb testing.TB, commits int) *gittest.Repo {
	repo := gittest.New(tb)
	var in strings.Builder
	file := func(path, text string) { fmt.Fprintf(&in, "M 100644 inline %s\ndata %d\n%s\n", path, len(text), text) }
	commit := func(n int, more string) {
		fmt.Fprintf(&in, "commit refs/heads/main\nmark :%d\ncommitter Mara Lind <mara.lind@northgate.example> %d +0000\ndata 4\nwork\n%s", n+1, 1780000000+n*600, more)
	}
	values := make([][10]int, 20)
	set := func(i int) string {
		var b strings.Builder
		fmt.Fprintf(&b, "{\n  \"kind\": \"condition-set\",\n  \"format\": 1,\n  \"machine\": \"bay-%d\",\n  \"material\": \"brass\",\n  \"gas\": \"nitrogen\",\n  \"conditions\": [", i)
		for k, v := range values[i] {
			if k > 0 {
				b.WriteString(",")
			}
			fmt.Fprintf(&b, `
    {
      "thickness": "%d mm",
      "nozzle": {
        "form": "single",
        "orifice": "2 mm",
        "standoff": "1 mm"
      },
      "cut": {
        "power": "3 kW",
        "speed": "%d mm/s",
        "pressure": "12 bar",
        "focus": "-1 mm"
      }
    }`, k+1, 50+v)
		}
		return b.String() + "\n  ]\n}\n"
	}
	for n := range commits {
		more := ""
		if n > 10 && n%10 == 0 {
			more = fmt.Sprintf("from :%d\nmerge :%d\n", n, n-4)
		}
		commit(n, more)
		if n == 0 {
			for i := range values {
				file(fmt.Sprintf("sets/bay-%d/brass-nitrogen.json", i), set(i))
			}
			continue
		}
		if n%3 == 0 {
			file("README.md", fmt.Sprint(n))
			continue
		}
		i := n % len(values)
		values[i][n/20%10]++
		file(fmt.Sprintf("sets/bay-%d/brass-nitrogen.json", i), set(i))
	}
	repo.Input(in.String(), "fast-import", "--quiet")
	return repo
}

func BenchmarkRead(b *testing.B) {
	for _, commits := range []int{1000, 20000} {
		b.Run(fmt.Sprint(commits), func(b *testing.B) {
			repo := longHistory(b, commits)
			b.ReportAllocs()
			for b.Loop() {
				r, err := git.OpenOther(repo.Dir)
				if err != nil {
					b.Fatal(err)
				}
				trail, err := audit.Read(r, "", audit.Options{Rev: "main"})
				if err != nil {
					b.Fatal(err)
				}
				if trail.Commits != commits {
					b.Fatalf("%d commits of %d", trail.Commits, commits)
				}
				r.Close()
			}
		})
	}
}
