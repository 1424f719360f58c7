package git

import (
	"io/fs"
	"os"
	"runtime"
	"slices"
	"sync"

	"golang.org/x/sys/unix"
)

func statWords(s *unix.Stat_t) fileStat {
	return fileStat{changed: [2]uint32{uint32(s.Ctim.Sec), uint32(s.Ctim.Nsec)}, modified: [2]uint32{uint32(s.Mtim.Sec), uint32(s.Mtim.Nsec)},
		ino: uint32(s.Ino), uid: s.Uid, gid: s.Gid, size: uint32(s.Size)}
}

// readDir lists an open directory by name, with what stat says of each name. What is gone by then is left out. Of a directory with very many
// names the system is asked for several at once.
func readDir(dir *os.File) ([]child, error) {
	names, err := dir.Readdirnames(-1)
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	const many = 1000
	parts := min(runtime.GOMAXPROCS(0), 1+len(names)/many)
	out, errs := make([]child, len(names)), make([]error, parts)
	fd := int(dir.Fd())
	defer runtime.KeepAlive(dir)
	var wait sync.WaitGroup
	for p := range parts {
		from, to := p*len(names)/parts, (p+1)*len(names)/parts
		wait.Go(func() {
			for i := from; i < to && errs[p] == nil; i++ {
				out[i], errs[p] = childAt(fd, names[i])
			}
		})
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return slices.DeleteFunc(out, func(c child) bool { return c.name == "" }), nil
}

// childAt is what there is under a name in an open directory; no name where that is nothing any more.
func childAt(fd int, name string) (child, error) {
	var s unix.Stat_t
	err := unix.Fstatat(fd, name, &s, unix.AT_SYMLINK_NOFOLLOW)
	for err == unix.EINTR {
		err = unix.Fstatat(fd, name, &s, unix.AT_SYMLINK_NOFOLLOW)
	}
	if err == unix.ENOENT {
		return child{}, nil
	}
	if err != nil {
		return child{}, &fs.PathError{Op: "lstat", Path: name, Err: err}
	}
	f := child{name: name, mode: fs.ModeIrregular, stat: statWords(&s)}
	switch s.Mode & unix.S_IFMT {
	case unix.S_IFREG:
		f.mode = 0
	case unix.S_IFDIR:
		f.mode = fs.ModeDir
	case unix.S_IFLNK:
		f.mode = fs.ModeSymlink
	}
	return f, nil
}

// readAtOnce reads an ordinary file of a known size below a directory, and says what it was when all of it was read. One call of the system finds the file
// without leaving the directory and without following a link, where [os.Root] opens each directory on the way (openat2(2), Linux 5.6 and
// later). It is false where anything is out of the ordinary: then the file is read, or the reason found, in the other way.
func readAtOnce(dir *os.File, name string, size uint32) ([]byte, fileStat, bool) {
	defer runtime.KeepAlive(dir)
	if size > MaxBlob {
		return nil, fileStat{}, false
	}
	fd, err := unix.Openat2(int(dir.Fd()), name, &unix.OpenHow{Flags: unix.O_RDONLY | unix.O_CLOEXEC | unix.O_NONBLOCK | unix.O_NOCTTY,
		Resolve: unix.RESOLVE_BENEATH | unix.RESOLVE_NO_SYMLINKS})
	if err != nil {
		return nil, fileStat{}, false
	}
	defer unix.Close(fd)
	data := make([]byte, size+1) // one more tells whether it ended there
	n, err := unix.Read(fd, data)
	var s unix.Stat_t
	if err != nil || unix.Fstat(fd, &s) != nil || s.Mode&unix.S_IFMT != unix.S_IFREG || s.Size != int64(size) || n != int(size) {
		return nil, fileStat{}, false
	}
	return data[:n:n], statWords(&s), true
}
