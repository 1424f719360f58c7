package hooks

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"fettle/history/git"
)

// A mark says that pre-commit found nothing against an index, so that prepare-commit-msg, which git calls a moment later for the
// same commit, need not start fettle again: a shell compares the end of the index with it. An index ends with a checksum of
// itself, so a hook of somebody else that changes it in between makes the mark worthless.
//
// The name of a mark is judged-PROCESS-OFFSET: the git that asked, and where in the index its content begins. A mark that cannot be
// written or read costs a second look and nothing else.
const (
	markPrefix = "judged-"
	markSize   = 32 // bytes: the checksum of either kind of repository
	// parentVariable is how the hook tells fettle which git it works for.
	parentVariable = "FETTLE_GIT"
)

func leaveMark(repo *git.Repo, said Summary) {
	dir := repo.Scratch()
	old, _ := os.ReadDir(dir)
	for _, entry := range old {
		if strings.HasPrefix(entry.Name(), markPrefix) || strings.HasPrefix(entry.Name(), saidPrefix) {
			os.Remove(filepath.Join(dir, entry.Name()))
		}
	}
	end, at := indexEnd(repo)
	if end == nil || os.MkdirAll(dir, 0o777) != nil {
		return
	}
	leaveSummary(repo, said)
	_ = os.WriteFile(filepath.Join(dir, markName(at)), end, 0o666)
}

// marked reports whether pre-commit passed the very index that git is committing.
func marked(repo *git.Repo) bool {
	end, at := indexEnd(repo)
	if end == nil {
		return false
	}
	mark, err := os.ReadFile(filepath.Join(repo.Scratch(), markName(at)))
	return err == nil && bytes.Equal(mark, end)
}

func markName(at int64) string { return markPrefix + askingGit() + "-" + strconv.FormatInt(at, 10) }

// askingGit is the number of the process of git that asked.
func askingGit() string {
	git := os.Getenv(parentVariable)
	if _, err := strconv.ParseUint(git, 10, 64); err != nil {
		git = strconv.Itoa(os.Getppid())
	}
	return git
}

// indexEnd is the end of the index that git is committing, and where it begins; nil where it cannot be read or says nothing: git may
// be told to leave the checksum out (index.skipHash), and then an index ends with zeros.
func indexEnd(repo *git.Repo) (end []byte, at int64) {
	f, err := os.Open(repo.IndexFile())
	if err != nil {
		return nil, 0
	}
	defer f.Close()
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil || size < markSize {
		return nil, 0
	}
	end = make([]byte, markSize)
	if _, err := f.ReadAt(end, size-markSize); err != nil {
		return nil, 0
	}
	if bytes.Equal(end[markSize-20:], make([]byte, 20)) {
		return nil, 0
	}
	return end, size - markSize
}
