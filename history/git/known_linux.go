package git

import (
	"io/fs"
	"syscall"
)

// statOf is what git notes of a file. It is false where the system does not say it.
func statOf(info fs.FileInfo) (fileStat, bool) {
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return fileStat{}, false
	}
	return fileStat{changed: [2]uint32{uint32(s.Ctim.Sec), uint32(s.Ctim.Nsec)}, modified: [2]uint32{uint32(s.Mtim.Sec), uint32(s.Mtim.Nsec)},
		ino: uint32(s.Ino), uid: s.Uid, gid: s.Gid, size: uint32(s.Size)}, true
}

// lyingOf is on which file system a file lies and whose it is. It is false where the system does not say it.
func lyingOf(info fs.FileInfo) (lying, bool) {
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return lying{}, false
	}
	return lying{uint64(s.Dev), s.Uid}, true
}
