package audit

import "fettle/history/git"

// shallowEdges are the commits at which a clone without its older history begins. Where that cannot be read there are none; the
// trail says that the clone is shallow in any case.
func shallowEdges(repo *git.Repo) map[string]bool {
	edges, err := repo.ShallowEdges()
	if err != nil || !repo.IsShallow() {
		return nil
	}
	return edges
}
