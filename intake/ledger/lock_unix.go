//go:build unix

package ledger

import (
	"errors"
	"os"
	"syscall"
)

// lockFile takes the exclusive lock that ends with the process, however it ends.
func lockFile(f *os.File) (free bool, err error) {
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
