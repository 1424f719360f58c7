// Command bench makes large libraries with a fixed seed and times fettle beside git and other programs on them.
//
//	go run ./testdata/bench make S DIR
package main

import (
	"fmt"
	"os"
	"slices"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(2)
	}
}

func run(args []string) error {
	if len(args) != 3 || args[0] != "make" {
		return fmt.Errorf("use: bench make SIZE DIR")
	}
	i := slices.IndexFunc(sizes, func(z size) bool { return z.name == args[1] })
	if i < 0 {
		return fmt.Errorf("there is no size %q", args[1])
	}
	if err := os.Mkdir(args[2], 0o777); err != nil {
		return err
	}
	return sizes[i].make(args[2])
}
