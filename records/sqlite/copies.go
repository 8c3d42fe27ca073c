package sqlite

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
)

// Keep says which copies stay: the newest Last, and the newest of each of the
// last Daily days and Monthly months (UTC) that have one.
type Keep struct{ Last, Daily, Monthly int }

// UsualKeep holds a day of quarter hours, a month of days, a year of months.
var UsualKeep = Keep{Last: 96, Daily: 31, Monthly: 12}

var badKeep = words.New("sqlite-bad-keep",
	"“{got}” is no rule such as last=96,daily=31,monthly=12; at least one copy stays.",
	"«{got}» no es una regla como last=96,daily=31,monthly=12; al menos una copia se queda.")

// ParseKeep reads last=96,daily=31,monthly=12; what is not named is 0, Last is
// at least 1. fault.Invalid.
func ParseKeep(s string) (Keep, error) {
	var k Keep
	into := map[string]*int{"last": &k.Last, "daily": &k.Daily, "monthly": &k.Monthly}
	bad := fault.New(fault.Invalid, badKeep.With(words.Args{"got": s}))
	for part := range strings.SplitSeq(s, ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		n, err := strconv.Atoi(value)
		if err != nil || n < 0 || into[name] == nil {
			return Keep{}, bad
		}
		*into[name] = n
		delete(into, name)
	}
	if k.Last < 1 {
		return Keep{}, bad
	}
	return k, nil
}

func (k Keep) String() string {
	return fmt.Sprintf("last=%d,daily=%d,monthly=%d", k.Last, k.Daily, k.Monthly)
}

// Stays marks those of the times, newest first, that the rule keeps.
func (k Keep) Stays(newestFirst []time.Time) []bool {
	stays := make([]bool, len(newestFirst))
	for i := range min(k.Last, len(stays)) {
		stays[i] = true
	}
	for _, rule := range []struct {
		form string
		most int
	}{{"2006-01-02", k.Daily}, {"2006-01", k.Monthly}} {
		last, n := "", 0
		for i, at := range newestFirst {
			if span := at.UTC().Format(rule.form); span != last && n < rule.most {
				last, stays[i] = span, true
				n++
			}
		}
	}
	return stays
}

// Names of copies: caneward-20260301T101500.000Z.db, with its SHA-256 beside it
// in the form of sha256sum, and one list of what was erased since.
const (
	copyStamp  = "20060102T150405.000Z"
	copyPrefix = "caneward-"
	copyEnding = ".db"
	sumEnding  = ".sha256"
	erasedList = "erased.jsonl"
)

// Copier makes copies of a folder that is being served. Use NewCopier.
type Copier struct {
	dir, to string
	every   time.Duration
	keep    Keep
	now     func() time.Time
	log     *slog.Logger

	lock  sync.Mutex
	state records.CopyState
}

// NewCopier prepares to copy the records in dir into the folder to, which is
// made where it is not there (mode 0700). Copies of before are counted.
func NewCopier(dir, to string, every time.Duration, keep Keep, now func() time.Time, log *slog.Logger) (*Copier, error) {
	if err := os.MkdirAll(to, 0o700); err != nil {
		return nil, err
	}
	c := &Copier{dir: dir, to: to, every: every, keep: keep, now: now, log: log}
	c.state = records.CopyState{Every: every, Since: now(), Rule: keep.String()}
	// What a killed server left half done has a name of its own.
	half, err := filepath.Glob(filepath.Join(to, "."+copyPrefix+"*"))
	if err != nil {
		return nil, err
	}
	for _, name := range half {
		if err := os.Remove(name); err != nil {
			return nil, err
		}
	}
	all, err := c.list()
	if err != nil {
		return nil, err
	}
	c.count(all)
	return c, nil
}

// State tells how the copies stand.
func (c *Copier) State() records.CopyState {
	c.lock.Lock()
	defer c.lock.Unlock()
	return c.state
}

// Run copies at once and then at every interval until the context ends. A copy
// that fails is logged and said by State; those of before stay.
func (c *Copier) Run(ctx context.Context) {
	tick := time.NewTicker(c.every)
	defer tick.Stop()
	for {
		if err := c.Copy(ctx); err != nil && ctx.Err() == nil {
			c.log.LogAttrs(ctx, slog.LevelError, "copying the records failed", slog.Any("err", err))
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Copy makes one copy, whole and checked, and then removes those that the rule
// does not keep.
func (c *Copier) Copy(ctx context.Context) error {
	started := c.now()
	err := c.copy(ctx, started)
	c.lock.Lock()
	defer c.lock.Unlock()
	if err != nil {
		if ctx.Err() == nil {
			c.state.Failed, c.state.Full = c.now(), fault.Is(err, fault.Full)
			c.state.Failures++
		}
		return err
	}
	c.state.Failed, c.state.Full = time.Time{}, false
	c.state.Made++
	c.state.Took = c.now().Sub(started)
	return nil
}

func (c *Copier) copy(ctx context.Context, at time.Time) error {
	file := filepath.Join(c.to, copyPrefix+at.UTC().Format(copyStamp)+copyEnding)
	if err := c.noteErasures(ctx); err != nil {
		return err
	}
	if err := Backup(ctx, c.dir, file); err != nil {
		return err
	}
	all, err := c.list()
	if err != nil {
		return err
	}
	times := make([]time.Time, len(all))
	for i, one := range all {
		times[i] = one.at
	}
	var left []copied
	for i, stays := range c.keep.Stays(times) {
		if stays {
			left = append(left, all[i])
			continue
		}
		if err := errors.Join(os.Remove(all[i].file), removeIfThere(all[i].file+sumEnding)); err != nil {
			return err
		}
	}
	c.lock.Lock()
	defer c.lock.Unlock()
	c.count(left)
	return nil
}

func removeIfThere(name string) error {
	if err := os.Remove(name); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// count notes what copies there are, newest first.
func (c *Copier) count(all []copied) {
	c.state.Copies = len(all)
	if len(all) > 0 {
		c.state.Last, c.state.Bytes = all[0].at, all[0].size
		c.state.Oldest = all[len(all)-1].at
	}
}

type copied struct {
	file string
	at   time.Time
	size int64
}

// list gives the copies, newest first; other files are not looked at.
func (c *Copier) list() (all []copied, err error) {
	entries, err := os.ReadDir(c.to)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		stamp, ours := strings.CutPrefix(strings.TrimSuffix(e.Name(), copyEnding), copyPrefix)
		at, err := time.Parse(copyStamp, stamp)
		if !ours || err != nil || !strings.HasSuffix(e.Name(), copyEnding) {
			continue
		}
		info, err := e.Info()
		if err != nil {
			return nil, err
		}
		all = append(all, copied{filepath.Join(c.to, e.Name()), at, info.Size()})
	}
	slices.SortFunc(all, func(a, b copied) int { return b.at.Compare(a.at) })
	return all, nil
}

// writeSum puts the SHA-256 of a copy that is about to get its name beside it.
func writeSum(temporary, file string) error {
	sum, err := sumOf(temporary)
	if err != nil {
		return err
	}
	// One may be left of a copy that was taken away.
	if err := removeIfThere(file + sumEnding); err != nil {
		return err
	}
	line := hex.EncodeToString(sum) + "  " + filepath.Base(file) + "\n"
	return build(file+sumEnding, func(t string) error { return os.WriteFile(t, []byte(line), 0o600) })
}

func sumOf(file string) ([]byte, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	h := sha256.New()
	_, err = io.Copy(h, f)
	return h.Sum(nil), err
}

var sumDiffers = words.New("sqlite-sum-differs",
	"{file} is not the copy that was made: its SHA-256 differs from the one beside it. Take another copy.",
	"{file} no es la copia que se hizo: su SHA-256 difiere del que está a su lado. Tome otra copia.")

// checkSum holds a copy against the sum beside it, where there is one.
func checkSum(file string) error {
	line, err := os.ReadFile(file + sumEnding)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	sum, err := sumOf(file)
	if err != nil {
		return err
	}
	if want, _, _ := strings.Cut(string(line), " "); want != hex.EncodeToString(sum) {
		return fault.New(fault.Conflict, sumDiffers.With(words.Args{"file": file}))
	}
	return nil
}

// erasure says that a farm is gone for good.
type erasure struct {
	Farm    records.FarmID `json:"farm"`
	Created time.Time      `json:"created"`
	Erased  time.Time      `json:"erased"`
}

// noteErasures writes beside the copies which farms were erased, so that an
// older copy that is restored does not bring them back.
func (c *Copier) noteErasures(ctx context.Context) error {
	all, err := erasuresOf(ctx, c.dir)
	if err != nil || len(all) == 0 {
		return err
	}
	file := filepath.Join(c.to, erasedList)
	if err := removeIfThere(file); err != nil {
		return err
	}
	return build(file, func(temporary string) error {
		f, err := os.OpenFile(temporary, os.O_WRONLY|os.O_TRUNC, 0o600)
		if err != nil {
			return err
		}
		lines := json.NewEncoder(f)
		for _, e := range all {
			if err := lines.Encode(e); err != nil {
				return errors.Join(err, f.Close())
			}
		}
		return f.Close()
	})
}

// notedErasures reads the list beside a copy.
func notedErasures(file string) (all []erasure, err error) {
	f, err := os.Open(filepath.Join(filepath.Dir(file), erasedList))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		var e erasure
		if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
			return nil, fmt.Errorf("sqlite: %s: %w", f.Name(), err)
		}
		all = append(all, e)
	}
	return all, lines.Err()
}
