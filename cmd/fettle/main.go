// Command fettle keeps the laser cut conditions of a shop as reviewed text in git.
//
// One file per command. What they share is small: [app] holds the streams and the flags that every command has, [shop] the
// library at hand in its three states (unsaved, saved, shared), and ids.go turns what a person types into ids. Output for people
// and programs is rendered by cmd/fettle/view.
package main

import (
	"os"
	"runtime/debug"
)

func main() {
	// A run lasts milliseconds and holds little: collecting garbage at every 4 MB would cost more than it frees.
	debug.SetGCPercent(800)
	debug.SetMemoryLimit(256 << 20)
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// keepGarbage is for what git waits for: it ends before collecting garbage would pay. The limit is for a library that is larger than
// any shop's.
func keepGarbage() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(512 << 20)
}
