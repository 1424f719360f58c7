package view

import (
	"bytes"
	"io"
	"os"
)

// An Aside holds what is written to it until it is read again, in a file where it is much. The zero Aside is empty and ready.
type Aside struct {
	memory []byte
	file   *os.File
	size   int64
}

// asideInMemory is how many bytes are kept without a file.
const asideInMemory = 4 << 20

// Write puts bytes behind those that are there.
func (a *Aside) Write(data []byte) (int, error) {
	a.memory = append(a.memory, data...)
	a.size += int64(len(data))
	if len(a.memory) < asideInMemory {
		return len(data), nil
	}
	if a.file == nil {
		file, err := os.CreateTemp("", "fettle-aside-")
		if err != nil {
			return 0, err
		}
		a.file = file
		_ = os.Remove(file.Name()) // where that can be done to an open file, nothing is left behind however this ends
	}
	_, err := a.file.Write(a.memory)
	a.memory = a.memory[:0]
	return len(data), err
}

// Size is how many bytes were written.
func (a *Aside) Size() int64 { return a.size }

// Read gives what was written, from one byte up to another.
func (a *Aside) Read(from, to int64) io.Reader {
	written := a.size - int64(len(a.memory))
	early := io.Reader(bytes.NewReader(nil))
	if from < written {
		early = io.NewSectionReader(a.file, from, min(to, written)-from)
	}
	return io.MultiReader(early, bytes.NewReader(a.memory[max(0, min(from, a.size)-written):max(0, to-written)]))
}

// Close removes the file.
func (a *Aside) Close() error {
	if a.file == nil {
		return nil
	}
	err := a.file.Close()
	_ = os.Remove(a.file.Name())
	return err
}
