package sqlite

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Backup copies the records of a folder, as of one moment, into one new file
// (mode 0600), from any process and while a server writes. The copy's structure
// is checked, its SHA-256 is written beside it in the form of sha256sum, and it
// appears under its name only when it is whole and on disk. fault.Missing when
// there are no records, fault.Conflict when the file exists.
func Backup(ctx context.Context, dir, file string) error {
	path := filepath.Join(dir, FileName)
	if err := mustExist(dir, path); err != nil {
		return err
	}
	return build(file, func(temporary string) error {
		if err := vacuumOver(ctx, path, temporary); err != nil {
			return err
		}
		if err := checkStructure(ctx, temporary, "quick_check"); err != nil {
			return sayDamage(file, err)
		}
		return writeSum(temporary, file)
	})
}

func mustNotExist(file string) error {
	_, err := os.Lstat(file)
	switch {
	case err == nil:
		return fault.New(fault.Conflict, targetTaken.With(words.Args{"file": file}))
	case errors.Is(err, os.ErrNotExist):
		return nil
	}
	return err
}

// build makes a file under another name beside its own, flushes it and gives
// it its name; fault.Conflict when that is taken.
func build(file string, fill func(temporary string) error) (err error) {
	if err := mustNotExist(file); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	defer f.Close()
	if err := fill(f.Name()); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := mustNotExist(file); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), file); err != nil {
		return err
	}
	return flushDir(filepath.Dir(file))
}

func flushDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Restore puts a copy made by Backup into an empty or a new folder. The copy's
// structure and layout are checked first; its chain is for Verify, so that a
// copy with one damaged revision can still be brought back. Sessions are left
// behind, tokens and links end: nothing that was ended after the copy lives again. fault.Conflict when the
// folder is not empty or the copy is damaged, of a newer layout or not of this
// program; an older layout is brought up to date. Farms that the list beside the
// copy says were erased are erased again.
func Restore(ctx context.Context, file, dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if len(entries) > 0 {
		return fault.New(fault.Conflict, folderNotEmpty.With(words.Args{"dir": dir}))
	}
	if _, err := os.Stat(file); err != nil {
		return err
	}
	if err := checkSum(file); err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return build(filepath.Join(dir, FileName), func(temporary string) error {
		if err := copyFile(temporary, file); err != nil {
			return err
		}
		return readyCopy(ctx, temporary, file)
	})
}

func copyFile(to, from string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	_, err = io.Copy(out, in)
	return err
}

// readyCopy works on the copy of the copy, so that the original stays as it is.
func readyCopy(ctx context.Context, path, named string) (err error) {
	defer func() { err = sayDamage(named, err) }()
	if err := checkNotEmpty(path); err != nil {
		return err
	}
	if err := checkStructure(ctx, path, "integrity_check"); err != nil {
		return err
	}
	if err := migrate(ctx, path, func(int64, int64) error { return nil }); err != nil {
		return err
	}
	gone, err := notedErasures(named)
	if err != nil {
		return err
	}
	if err := eraseAgain(path, gone); err != nil {
		return err
	}
	c, err := dial(path, with(common, "_journal_mode", "DELETE"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.close()) }()
	if err := c.exec(`DELETE FROM sessions`); err != nil {
		return err
	}
	return c.exec(`UPDATE grants SET ended_us = ? WHERE ended_us IS NULL`, time.Now().UnixMicro())
}

// checkStructure runs one of SQLite's own checks on a file nobody serves;
// fault.Conflict.
func checkStructure(ctx context.Context, path, check string) (err error) {
	c, err := dial(path, with(common, "_journal_mode", "DELETE"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.close()) }()
	row, err := c.row(ctx, `PRAGMA `+check+`(1)`)
	if err != nil {
		return err
	}
	if what := text(row[0]); what != "ok" {
		return fault.New(fault.Conflict, fileDamaged.With(words.Args{"file": path, "what": what}))
	}
	return nil
}
