package sqlite

import (
	"errors"
	"os"
	"syscall"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// lockDir takes the folder for one server. The lock is the system's own
// (flock) and ends with the process, however it ends.
func lockDir(dir, path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil {
		return f, nil
	}
	f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, fault.New(fault.Conflict, servedAlready.With(words.Args{"dir": dir}))
	}
	return nil, err
}
