//go:build !linux && !darwin

package git

import "io/fs"

// statOf is what git notes of a file: nothing that could be had here, so that files are read.
func statOf(fs.FileInfo) (fileStat, bool) { return fileStat{}, false }

// lyingOf is on which file system a file lies and whose it is: not to be had here.
func lyingOf(fs.FileInfo) (lying, bool) { return lying{}, false }
