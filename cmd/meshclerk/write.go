package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// writeNew writes a file that must not exist yet, whole or not at all.
func writeNew(path string, mode os.FileMode, fill func(w io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already and is left as it is; name another file", path)
	}
	return writeOver(path, mode, fill)
}

// writeOver writes a file whole or not at all, in the place of an earlier one.
func writeOver(path string, mode os.FileMode, fill func(w io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".meshclerk-*")
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	defer os.Remove(f.Name()) // gone already when all went well
	for _, do := range []func() error{func() error { return fill(f) }, f.Sync, func() error { return f.Chmod(mode) }} {
		if err == nil {
			err = do()
		}
	}
	if errClose := f.Close(); err == nil {
		err = errClose
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	return nil
}
