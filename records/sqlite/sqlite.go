// Package sqlite keeps farms and people in one SQLite file. Acknowledged writes
// survive loss of power as far as the disk flushes when told to.
//
// One goroutine writes; what waits for it goes into one transaction (group
// commit), each request behind a savepoint of its own. Readers have their own
// connections and see the state of the moment their view began. The database
// narrows by box, Go decides (records.Meets), so that answers do not depend on
// the engine.
package sqlite

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

// Names of the files in a data folder. SQLite adds -wal and -shm beside the first.
const (
	FileName = "caneward.db"
	lockName = "caneward.lock"
)

// Options of Open.
type Options struct {
	// Now is the clock of Revision.At; time.Now where it is nil.
	Now func() time.Time
	// Beside opens the records of a folder that a server may be serving, for a
	// console command of short life: no lock is taken, nothing is migrated.
	Beside bool
}

// Store implements records.Store and people.Store.
type Store struct {
	now     func() time.Time
	lock    *os.File
	marker  string // the file that says a server runs here; "" beside one
	opening Opening
	writer  *writer
	readers *readers
}

var (
	_ records.Store = (*Store)(nil)
	_ people.Store  = (*Store)(nil)

	_ records.Documents = (*Store)(nil)
	_ records.Custody   = (*Store)(nil)
)

// Open opens the records in a folder, which it makes (mode 0700, file 0600)
// when it is not there, and brings the layout up to date, keeping a copy of an
// older one. Where the server before did not end in order, the file's structure
// and its newest revisions are checked first; see Opening. fault.Conflict when another
// server has the folder or the file is damaged or not one this program can use;
// fault.Missing with Options.Beside when there is none.
func Open(ctx context.Context, dir string, o Options) (*Store, error) {
	s := &Store{now: o.Now}
	if s.now == nil {
		s.now = time.Now
	}
	path := filepath.Join(dir, FileName)
	if err := s.prepare(ctx, dir, path, o.Beside); err != nil {
		return nil, errors.Join(sayDamage(path, err), s.unlock())
	}
	c, err := dial(path, writing)
	if err != nil {
		return nil, errors.Join(err, s.unlock())
	}
	s.writer = startWriter(c, s.now)
	s.readers = newReaders(path)
	return s, nil
}

func (s *Store) prepare(ctx context.Context, dir, path string, beside bool) (err error) {
	if beside {
		if err := mustExist(dir, path); err != nil {
			return err
		}
		return checkCurrent(ctx, path)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if s.lock, err = lockDir(dir, filepath.Join(dir, lockName)); err != nil {
		return err
	}
	if err := createFile(path); err != nil {
		return err
	}
	return s.begin(ctx, dir, path)
}

func mustExist(dir, path string) error {
	_, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return fault.Wrap(fault.Missing, err, noFile.With(words.Args{"dir": dir}))
	}
	return err
}

// createFile makes the file before SQLite does, for its mode; -wal and -shm
// take theirs from it.
func createFile(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

// Close waits for what is being written, and ends the store. Writes that come
// later are refused with ErrClosed; a second Close does nothing.
func (s *Store) Close() error {
	err := errors.Join(s.writer.stop(), s.readers.close())
	if err == nil && s.marker != "" {
		err = removeIfThere(s.marker)
	}
	return errors.Join(err, s.unlock())
}

func (s *Store) unlock() error {
	if s.lock == nil {
		return nil
	}
	if err := s.lock.Close(); !errors.Is(err, os.ErrClosed) {
		return err
	}
	return nil
}

// ErrClosed is what a closed store answers.
var ErrClosed = errors.New("sqlite: the store is closed")
