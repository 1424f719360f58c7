// Command fettle keeps the laser cut conditions of a shop as reviewed text in git.
//
// One file per command. What they share is small: [app] holds the streams and the flags that every command has, [shop] the
// library at hand in its three states (unsaved, saved, shared), and ids.go turns what a person types into ids. Output for people
// and programs is rendered by cmd/fettle/view.
package main

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

func main() {
	// A run lasts milliseconds and holds little: collecting garbage before there are 64 MB would cost more than it frees.
	debug.SetGCPercent(1600)
	holdMemory(225 << 20)
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// keepGarbage is for what git waits for: it ends before collecting garbage would pay. The limit is for a library that is larger than
// any shop's.
func keepGarbage() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(200 << 20)
}

// holdMemory asks the collector to stay below so many bytes, and lets go of that where most of them are in use: years of history read
// at once do not get smaller by collecting garbage without end.
func holdMemory(limit int64) {
	debug.SetMemoryLimit(limit)
	var watch func()
	watch = func() {
		runtime.SetFinalizer(new([16]byte), func(*[16]byte) { // called after each collection
			live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
			limit := debug.SetMemoryLimit(-1)
			if metrics.Read(live); live[0].Value.Kind() == metrics.KindUint64 && int64(live[0].Value.Uint64()) > limit*3/4 {
				debug.SetMemoryLimit(int64(live[0].Value.Uint64()) * 4 / 3)
			}
			watch()
		})
	}
	watch()
}
