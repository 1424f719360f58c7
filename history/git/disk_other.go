//go:build !linux

package git

import (
	"os"
	"slices"
	"strings"
)

// readDir lists an open directory by name, with what stat says of each name. What is gone by then is left out.
func readDir(dir *os.File) ([]child, error) {
	infos, err := dir.Readdir(-1)
	if err != nil {
		return nil, err
	}
	out := make([]child, len(infos))
	for i, info := range infos {
		out[i] = child{name: info.Name(), mode: info.Mode()}
		out[i].stat, _ = statOf(info)
	}
	slices.SortFunc(out, func(a, b child) int { return strings.Compare(a.name, b.name) })
	return out, nil
}

// readAtOnce would read a file with fewer calls of the system: see that of Linux.
func readAtOnce(*os.File, string, uint32) ([]byte, fileStat, bool) { return nil, fileStat{}, false }
