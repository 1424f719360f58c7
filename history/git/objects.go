package git

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
)

// MaxBlob is the largest file that is read, in bytes. A condition set is a few kilobytes; what is larger than this came
// in by accident.
const MaxBlob = 64 << 20

// object is an answer of cat-file.
type object struct {
	hash string
	kind string // blob, tree, commit, tag; "missing" or "ambiguous" where there is no object of that name
	size int64
	data []byte // nil where the object is larger than was asked for
}

// objects reads them from the files of git, and what cannot be read there from a long-lived `git cat-file --batch`, which is started when it is
// needed. One request to it is under way at a time.
type objects struct {
	start   func() *exec.Cmd
	hashLen int
	files   func() *store // nil where git has to be asked for everything
	ref     func(name string) (hash string, ok bool)
	closed  atomic.Bool
	trees   recent[string] // see rawTree

	mu     sync.Mutex
	cmd    *exec.Cmd
	in     io.WriteCloser
	out    *bufio.Reader
	stderr *tail
	used   bool // was asked before
}

// newObjects are the objects of a repository. Nothing is opened and no child started yet.
func (r *Repo) newObjects(files func() *store) *objects {
	return &objects{hashLen: r.shared.hashLen, ref: r.readRef, trees: recent[string]{most: mostRaw},
		files: sync.OnceValue(func() *store {
			if r.mayReplace() {
				return nil
			}
			return files()
		}),
		start: func() *exec.Cmd {
			// The child outlives the context of one view: a cancelled request kills it, and the next one starts another.
			cmd := command(context.Background(), r.shared.home, r.shared.env, "cat-file", "--batch")
			cmd.Env = append(cmd.Env, noLocks)
			return cmd
		}}
}

// objectFiles are the directories of the objects, as git finds them.
func (r *Repo) objectFiles() *store {
	own := variable(r.shared.env, "GIT_OBJECT_DIRECTORY")
	if own == "" {
		own = filepath.Join(r.CommonDir, "objects")
	}
	return newStore(own, variable(r.shared.env, "GIT_ALTERNATE_OBJECT_DIRECTORIES"), r.shared.hashLen/2)
}

// chunk is how many bytes of names are sent before answers are read. A pipe holds at least this much everywhere, so the
// child can never wait for us to read while we wait for it to read.
const chunk = 4096

// A share says how much of an object is read.
type share struct {
	most int64 // of one with more bytes nothing is
	head int64 // no more than its first bytes; 0 is all of it
}

// get asks for one object by any name that git understands. Objects above limit bytes come without data.
func (o *objects) get(ctx context.Context, name string, limit int64) (object, error) {
	var found object
	err := o.each(ctx, []string{name}, share{most: limit}, func(_ int, answer object) error {
		found = answer
		return nil
	})
	return found, err
}

// each asks for many objects and hands over the answers in order. An error of the callee ends the reading and is
// returned. The callee may ask for objects itself.
func (o *objects) each(ctx context.Context, names []string, of share, f func(int, object) error) error {
	for _, name := range names {
		if name == "" || strings.ContainsAny(name, "\n\x00") {
			return errorf(ErrUnknownRevision, "%q cannot be the name of an object", name)
		}
	}
	read := 0
	for next := 0; next < len(names); {
		if err := ctx.Err(); err != nil {
			return err
		}
		if o.closed.Load() {
			return errorf(ErrClosed, "the repository was closed")
		}
		if of.head > 0 || len(names) <= fewObjects && read < fewBytes {
			if answer, ok := o.own(names[next], of); ok {
				if err := f(next, answer); err != nil {
					return err
				}
				read += len(answer.data)
				next++
				continue
			}
		}
		end, size := next, 0
		for end < len(names) && (end == next || size+len(names[end])+1 <= chunk) {
			size += len(names[end]) + 1
			end++
		}
		answers, err := o.exchange(ctx, names[next:end], of)
		if err != nil {
			return err
		}
		for i, answer := range answers {
			if err := f(next+i, answer); err != nil {
				return err
			}
		}
		next = end
	}
	return nil
}

// As many whole objects of one request, and as many bytes, are read here at most: beyond, the child takes less time, its start included. Of
// sets of 14 kB with 30 differences from one to the next, as a library of years has them, 100 take 25 ms of processor here and 29 by the child,
// 300 take 54 and 40; of records of 1.3 kB 200 take 10 and 14, 1000 take 45 and 38. Of beginnings the child makes whole objects, so it takes six
// times as long for any number of them.
const (
	fewObjects = 500
	fewBytes   = 2 << 20
)

// own answers without the child, where the files of git say it plainly.
func (o *objects) own(name string, of share) (object, bool) {
	files := o.files()
	if files == nil {
		return object{}, false
	}
	name, commit := strings.CutSuffix(name, "^{commit}")
	if len(name) != o.hashLen || !isHex(name) {
		var ok bool
		if name, ok = o.ref(name); !ok {
			return object{}, false
		}
	}
	if of.head > 0 && !commit {
		if found, ok := files.head(name, int(of.head)); ok {
			return found, true
		}
	}
	found, ok := files.object(name, of.most)
	for nested := 0; ok && commit && found.kind == "tag" && nested < mostTags; nested++ {
		target, _, _ := strings.Cut(strings.TrimPrefix(string(found.data), "object "), "\n")
		found, ok = files.object(target, of.most)
	}
	if of.head > 0 && int64(len(found.data)) > of.head {
		found.data = found.data[:of.head]
	}
	return found, ok && (!commit || found.kind == "commit")
}

// mostTags is how many tags of tags are followed.
const mostTags = 5

// exchange sends one chunk of names and reads the answers.
func (o *objects) exchange(ctx context.Context, names []string, of share) ([]object, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for attempt := 0; ; attempt++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := o.ensure(); err != nil {
			return nil, err
		}
		reused := o.used
		o.used = true
		stop := context.AfterFunc(ctx, o.kill(o.cmd))
		answers, err := o.ask(names, of)
		if !stop() {
			// The child was killed, or is about to be.
			o.drop()
			return nil, ctx.Err()
		}
		if err == nil {
			return answers, nil
		}
		complaint := o.drop()
		// A child may have died since it answered last (the machine ran short of memory, somebody ended it): that is no
		// fault of this request, which deserves one child of its own.
		if !reused || attempt > 0 {
			if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
				err = errors.New("it ended before it had answered")
			}
			return nil, commandError([]string{"cat-file", "--batch"}, complaint, err)
		}
	}
}

// kill returns what ends a child at once. It must not touch o: the request that waits for the child holds the lock.
func (o *objects) kill(cmd *exec.Cmd) func() {
	return func() { _ = cmd.Process.Kill() }
}

func (o *objects) ask(names []string, of share) ([]object, error) {
	if _, err := io.WriteString(o.in, strings.Join(names, "\n")+"\n"); err != nil {
		return nil, err
	}
	answers := make([]object, len(names))
	for i := range answers {
		var err error
		if answers[i], err = o.readAnswer(of); err != nil {
			return nil, err
		}
	}
	return answers, nil
}

func (o *objects) readAnswer(of share) (object, error) {
	line, err := o.out.ReadString('\n')
	if err != nil {
		return object{}, err
	}
	line = strings.TrimSuffix(line, "\n")
	parts := strings.Split(line, " ")
	if len(parts) != 3 || len(parts[0]) != o.hashLen || !isHex(parts[0]) {
		// "NAME missing", "NAME ambiguous"; a submodule answers with its own word.
		return object{kind: line[strings.LastIndexByte(line, ' ')+1:]}, nil
	}
	size, err := strconv.ParseInt(parts[2], 10, 64)
	if err != nil {
		return object{}, fmt.Errorf("cannot read the answer %q", line)
	}
	found := object{hash: parts[0], kind: parts[1], size: size}
	if size > of.most {
		_, err = io.CopyN(io.Discard, o.out, size)
	} else {
		n := size
		if of.head > 0 {
			n = min(n, of.head)
		}
		found.data = make([]byte, n)
		if _, err = io.ReadFull(o.out, found.data); err == nil {
			_, err = o.out.Discard(int(size - n))
		}
	}
	if err != nil {
		return object{}, err
	}
	if end, err := o.out.ReadByte(); err != nil || end != '\n' {
		return object{}, errors.Join(errors.New("an object did not end where it should"), err)
	}
	return found, nil
}

func (o *objects) ensure() error {
	if o.closed.Load() {
		return errorf(ErrClosed, "the repository was closed")
	}
	if o.cmd != nil {
		return nil
	}
	cmd := o.start()
	in, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	o.stderr = &tail{}
	cmd.Stderr = o.stderr
	if err := cmd.Start(); err != nil {
		return commandError(cmd.Args[1:], "", err)
	}
	o.cmd, o.in, o.out, o.used = cmd, in, bufio.NewReaderSize(out, 64<<10), false
	return nil
}

// drop ends the child and returns what it complained about.
func (o *objects) drop() string {
	if o.cmd == nil {
		return ""
	}
	_ = o.in.Close()
	_ = o.cmd.Process.Kill()
	_ = o.cmd.Wait()
	o.cmd = nil
	return o.stderr.String()
}

func (o *objects) close() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.closed.Store(true)
	o.drop()
	return nil
}

// Blob is the content of a blob, given by its full id. A blob above [MaxBlob] is an error of kind [ErrTooLarge], one that
// is not there of kind [ErrMissing].
func (r *Repo) Blob(hash string) ([]byte, error) {
	if !r.isHash(hash) {
		return nil, errorf(ErrMissing, "%q is not the full id of a file's content", hash)
	}
	found, err := r.shared.objects.get(r.ctx, hash, MaxBlob)
	if err != nil {
		return nil, err
	}
	return blob(hash, found)
}

// Blobs reads many blobs in one go and hands them over in order; it is several times faster than one by one. An error of
// f ends it and is returned.
func (r *Repo) Blobs(hashes []string, f func(i int, data []byte) error) error {
	for _, hash := range hashes {
		if !r.isHash(hash) {
			return errorf(ErrMissing, "%q is not the full id of a file's content", hash)
		}
	}
	return r.shared.objects.each(r.ctx, hashes, share{most: MaxBlob}, func(i int, found object) error {
		data, err := blob(hashes[i], found)
		if err != nil {
			return err
		}
		return f(i, data)
	})
}

// PastBlobs is [Repo.Blobs] for contents that were saved before: what is above [MaxBlob] is handed over as nil. It got past every check,
// and must not make what was saved around it unreadable.
func (r *Repo) PastBlobs(hashes []string, f func(i int, data []byte) error) error {
	return r.pastBlobs(hashes, share{most: MaxBlob}, f)
}

// PastHeads is [Repo.PastBlobs] of no more than the first bytes of each, which must not be changed. What is read of a part of an object is not
// held against its id, as all else is that this package reads from files itself: it serves to tell what is worth reading, and for no verdict.
func (r *Repo) PastHeads(hashes []string, bytes int, f func(i int, head []byte) error) error {
	return r.pastBlobs(hashes, share{MaxBlob, int64(bytes)}, f)
}

// BeginAlike reports whether two contents have their first bytes in common, where git keeps one as a difference from the other that says so;
// false says nothing. What [Repo.PastHeads] says of its use holds.
func (r *Repo) BeginAlike(a, b string, bytes int) bool {
	files := r.shared.objects.files()
	return files != nil && files.alike(a, b, int64(bytes))
}

func (r *Repo) pastBlobs(hashes []string, of share, f func(i int, data []byte) error) error {
	for _, hash := range hashes {
		if !r.isHash(hash) {
			return errorf(ErrMissing, "%q is not the full id of a file's content", hash)
		}
	}
	take := func(i int, found object) error {
		data, err := blob(hashes[i], found)
		if err != nil && !errors.Is(err, ErrTooLarge) {
			return err
		}
		return f(i, data)
	}
	files := r.shared.objects.files()
	if of.head == 0 || len(hashes) <= fewHeads || files == nil {
		return r.shared.objects.each(r.ctx, hashes, of, take)
	}
	for i, found := range files.headsAtOnce(hashes, of.head) {
		var err error
		if found != nil {
			err = take(i, *found)
		} else {
			err = r.shared.objects.each(r.ctx, hashes[i:i+1], of, func(_ int, found object) error { return take(i, found) })
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// PastRows is [Repo.PastBlobs] for rows of contents, the versions of one file each: a row is read from its beginning to its end, and others
// beside it, as many as there are processors. The data must not be changed. After an error no row is begun; the first one is returned.
func (r *Repo) PastRows(rows [][]string, f func(row, i int, data []byte) error) error {
	files := r.shared.objects.files()
	if files == nil {
		for row, hashes := range rows {
			if err := r.PastBlobs(hashes, func(i int, data []byte) error { return f(row, i, data) }); err != nil {
				return err
			}
		}
		return nil
	}
	errs := make([]error, len(rows))
	files.inParallel(len(rows), func(b *bulk, row int) bool {
		for i, hash := range rows[row] {
			c, err := b.object(rawOf(hash))
			switch {
			case r.ctx.Err() != nil:
				errs[row] = r.ctx.Err()
			case err == nil && c.kind == "blob" && c.data != nil:
				errs[row] = f(row, i, c.data)
			default: // git says what is wrong with it
				errs[row] = r.PastBlobs([]string{hash}, func(_ int, data []byte) error { return f(row, i, data) })
			}
			if errs[row] != nil {
				return false
			}
		}
		return true
	})
	return cmp.Or(errs...)
}

// PastBlob is [Repo.PastBlobs] for one.
func (r *Repo) PastBlob(hash string) (data []byte, err error) {
	err = r.PastBlobs([]string{hash}, func(_ int, found []byte) error { data = found; return nil })
	return data, err
}

// TooLarge is the error for a file that is larger than fettle reads.
func TooLarge(file string) error {
	return &Error{Kind: ErrTooLarge, What: fmt.Sprintf("%s is larger than the %d MB that fettle reads", Printable(file), MaxBlob>>20),
		Help: "a library holds small files of text: take it out with git rm --cached, and keep it elsewhere", Paths: []string{file}}
}

func blob(hash string, found object) ([]byte, error) {
	switch {
	case found.kind == "missing":
		return nil, &Error{Kind: ErrMissing, What: "the content " + hash + " is missing from this repository", Help: "run git fsck, and fetch from another copy"}
	case found.kind != "blob":
		return nil, errorf(ErrMissing, "%s is a %s, not the content of a file", hash, found.kind)
	case found.data == nil:
		return nil, errorf(ErrTooLarge, "a file of %d bytes is larger than the %d bytes that fettle reads", found.size, int64(MaxBlob))
	}
	return found.data, nil
}
