package ledger

import "syscall"

func free(dir string) (uint64, bool) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return s.Bavail * uint64(s.Bsize), true
}
