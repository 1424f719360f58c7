// Package git reads and writes git repositories for fettle. It is the only package that does.
//
// Whatever a repository is made of (linked work trees, alternates, split and sparse indexes, replaced objects, partial
// clones, SHA-256) means here what it means to git: everything goes through the git program, but for what its files say
// plainly and can be proven. An object is read from there when its content is what its id stands for. A repository that
// cannot be read is an error, never an empty answer: an empty answer would let a bad edit pass.
//
//	repo, err := git.Open(".")
//	if err != nil { ... }        // errors.Is(err, git.ErrNotRepository), git.ErrUnsafe, git.ErrNoGit ...
//	defer repo.Close()
//
//	staged, err := repo.Index("")       // what a commit would save, in a hook too
//	saved, err := repo.Commit("HEAD", "")
//	for _, change := range git.Compare(saved, staged) { ... }
//
// # Three views of a library
//
// A [Snapshot] is a library at one moment: a commit ([Repo.Commit]), the index ([Repo.Index]) or the files on disk
// ([Repo.WorkTree]). All list the same kinds of file, the parts of a library in [Parts], with paths from the directory of
// the library. A symbolic link or a nested repository among them is an error, because its content is not what was reviewed.
//
// # Children
//
// One child of git costs about as much as everything else that a hook does, so they are counted. [Open] starts none in a
// plain repository, else one; settings are kept as long as no file of them was touched. Objects, which trees
// ([Repo.TreeFiles]) and what changed between them ([Repo.ChangedPaths]) come from, and the names HEAD and refs/...
// ([Repo.Resolve]) take none as a rule; what is not found, odd, damaged, replaced or named in another way takes one
// long-lived `git cat-file --batch`. All commits that lead to one, with what each changed ([Repo.Lineage]), take none where nothing is odd; what
// commits say of themselves ([Repo.Said]) neither. [Repo.Walk] takes one. The index takes one child per listing. A hook that compares the index with the last
// commit and reads the blobs that differ starts that one only.
//
// # In a hook
//
// git tells a hook which index and which object store to use through environment variables, and the children of this
// package inherit them. That is right for the repository the hook runs in and wrong for any other: use [OpenOther] there.
// Readers never take the lock of the index and never refresh it.
//
// Paths are slash-separated, from the top of the work tree, and reach git as literal text: a file called "*" is one file.
// A [Repo] may be used by several goroutines at once.
package git
