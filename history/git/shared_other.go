//go:build !windows

package git

import "os"

// openShared opens a file to read in such a way that another program can remove or rename it meanwhile.
func openShared(name string) (*os.File, error) { return os.Open(name) }
