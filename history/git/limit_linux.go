package git

import "golang.org/x/sys/unix"

// limitMemory ends a child that takes more memory than so many bytes; files that it looks into do not count. It does nothing where the system
// does not do it.
func limitMemory(pid int, most uint64) {
	_ = unix.Prlimit(pid, unix.RLIMIT_DATA, &unix.Rlimit{Cur: most, Max: most}, nil)
}
