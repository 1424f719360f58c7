// Command bench makes large libraries with a fixed seed, and times fettle beside git and other programs on them. From the top of the
// checkout:
//
//	go run ./testdata/bench make S DIR    one library, see [sizes]
//	go run ./testdata/bench run DIR       makes those that are missing in DIR, and prints the table; AJV=PATH names ajv, to be held against it
//	go run ./testdata/bench run DIR memory:adopt   the rows of the memory list alone that have "adopt" in the command
//	go run ./testdata/bench grow DIR      prints how work grows from a sixteenth of a library to the whole
//
// Two commands are always run in turn, so that a busy machine slows both alike; the table has medians and their ratio.
package main

import (
	"fmt"
	"os"
	"slices"
	"strconv"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(2)
	}
}

func run(args []string) error {
	switch {
	case len(args) == 3 && args[0] == "make":
		return makeSize(args[1], args[2])
	case len(args) >= 2 && args[0] == "run":
		return measure(args[1], args[2:])
	case len(args) == 5 && args[0] == "commits": // called by itself
		n, err := strconv.Atoi(args[4])
		if err != nil {
			return err
		}
		return commits(args[1], args[2], args[3], n)
	case len(args) == 2 && args[0] == "grow":
		return grow(args[1])
	}
	return fmt.Errorf("use: bench make SIZE DIR, bench grow DIR, or: bench run DIR [PART OF A ROW'S NAME...]")
}

func makeSize(name, dir string) error {
	i := slices.IndexFunc(sizes, func(z size) bool { return z.name == name })
	if i < 0 {
		return fmt.Errorf("there is no size %q", name)
	}
	if err := os.Mkdir(dir, 0o777); err != nil {
		return err
	}
	return sizes[i].make(dir)
}
