//go:build race

package hooks_test

func init() { raced = true }
