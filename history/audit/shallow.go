package audit

import (
	"os"
	"path/filepath"
	"strings"

	"fettle/history/git"
)

// shallowEdges are the commits at which a clone without its older history begins. What such a commit holds may be older than it.
func shallowEdges(repo *git.Repo) map[string]bool {
	if !repo.IsShallow() {
		return nil
	}
	data, err := os.ReadFile(filepath.Join(repo.CommonDir, "shallow"))
	edges := map[string]bool{}
	if err != nil {
		return edges // the trail says that the clone is shallow in any case
	}
	for line := range strings.Lines(string(data)) {
		edges[strings.TrimSpace(line)] = true
	}
	return edges
}
