package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
)

// runningName marks a folder whose server has not ended in order.
const runningName = "caneward.running"

// tailLength is how many of each farm's newest revisions are looked at after a
// server that did not end in order: what was being written stands among them.
const tailLength = 2000

var damagedStart = words.New("sqlite-damaged-start",
	"The server before this one did not end in order, and {file} is damaged: {what} Nothing was changed. Restore the newest copy into another folder, or look closer with “caneward verify”.",
	"El servidor anterior no terminó en orden y {file} está dañado: {what} No se cambió nada. Restaure la copia más nueva en otra carpeta, o examine con «caneward verify».")

// Opening is what Open found and did before it gave the store out.
type Opening struct {
	// Unclean: the server before did not end in order. The file's structure and
	// the newest revisions of every farm were then checked and hold.
	Unclean bool
	Checked time.Duration
	// From and To are the layouts where the file was brought up to date, Copy is
	// the file that keeps it as it was.
	From, To int64
	Copy     string
}

// Opening tells how the store was found.
func (s *Store) Opening() Opening { return s.opening }

// begin readies the file of a folder that is now this server's: checked where
// the server before did not end in order, brought up to date, and the folder
// marked as being served.
func (s *Store) begin(ctx context.Context, dir, path string) error {
	marker := filepath.Join(dir, runningName)
	_, err := os.Lstat(marker)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	s.opening.Unclean = err == nil
	if err := s.checkUnclean(ctx, path, func(v *verifier) error { return v.pragma("quick_check") }); err != nil {
		return err
	}
	err = migrate(ctx, path, func(found, known int64) (err error) {
		s.opening.From, s.opening.To = found, known
		s.opening.Copy, err = copyBefore(ctx, path, found)
		return err
	})
	if err != nil {
		return err
	}
	if err := s.checkUnclean(ctx, path, (*verifier).tails); err != nil {
		return err
	}
	if err := sweepAlone(path); err != nil {
		return err
	}
	f, err := os.OpenFile(marker, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	s.marker = marker
	return errors.Join(f.Close(), flushDir(dir))
}

func (s *Store) checkUnclean(ctx context.Context, path string, step func(*verifier) error) error {
	if !s.opening.Unclean {
		return nil
	}
	start := time.Now()
	defer func() { s.opening.Checked += time.Since(start) }()
	return checkQuickly(ctx, path, step)
}

// checkQuickly runs a part of Verify that a start can wait for; fault.Conflict.
func checkQuickly(ctx context.Context, path string, step func(*verifier) error) (err error) {
	v := &verifier{ctx: ctx, report: &Report{}}
	if v.conn, err = dial(path, reading); err != nil {
		return err
	}
	defer v.conn.close()
	if err := step(v); isDamage(err) {
		v.found(records.Problem{Text: structureBroken.With(words.Args{"what": err.Error()})})
	} else if err != nil {
		return err
	}
	if p := v.report.Problems; len(p) > 0 {
		return fault.New(fault.Conflict, damagedStart.With(words.Args{"file": path, "what": p[0].String()}))
	}
	return nil
}

func (v *verifier) tails() error {
	farms, err := v.listFarms()
	if err != nil {
		return err
	}
	for _, f := range farms {
		from := max(0, f.sequence-tailLength)
		sequence, head, err := v.chainFrom(f, from)
		if err != nil {
			return err
		}
		v.head(f, sequence, head)
	}
	return nil
}

// copyBefore keeps a file as it was before its layout changes.
func copyBefore(ctx context.Context, path string, layout int64) (string, error) {
	name := fmt.Sprintf("caneward-layout-%d-%s.db", layout, time.Now().UTC().Format(copyStamp))
	to := filepath.Join(filepath.Dir(path), name)
	return to, vacuumInto(ctx, path, to)
}

// vacuumInto makes a whole copy of one moment under a new name.
func vacuumInto(ctx context.Context, path, to string) error {
	return build(to, func(temporary string) error { return vacuumOver(ctx, path, temporary) })
}

// vacuumOver writes the copy into an empty file.
func vacuumOver(ctx context.Context, path, temporary string) (err error) {
	c, err := dial(path, common)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.close()) }()
	_, err = c.driver.ExecContext(ctx, `VACUUM INTO ?`, []driver.NamedValue{{Ordinal: 1, Value: temporary}})
	return translate(err)
}
