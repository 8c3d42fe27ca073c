package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/pressly/goose/v3"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

//go:embed migrations/*.sql
var embedded embed.FS

// applicationID marks a file as ours (PRAGMA application_id): "Cnwd".
const applicationID = 0x436e7764

func migrations() (fs.FS, error) { return fs.Sub(embedded, "migrations") }

// migrate brings a file up to date, each migration in a transaction of its
// own. An empty file is a new one. fault.Conflict for a file that is not ours
// or newer than this program.
//
// before is called where an older layout is about to change.
func migrate(ctx context.Context, path string, before func(found, known int64) error) (err error) {
	return withProvider(path, func(db *sql.DB, p *goose.Provider) error {
		if err := checkOurs(ctx, db, path); err != nil {
			return err
		}
		found, known, err := versions(ctx, p)
		if err != nil {
			return err
		}
		if found > known {
			return tooNew(path, found, known)
		}
		if found > 0 && found < known {
			if err := before(found, known); err != nil {
				return err
			}
		}
		_, err = p.Up(ctx)
		return err
	})
}

// checkCurrent refuses a file whose layout is not exactly this program's.
func checkCurrent(ctx context.Context, path string) error {
	if err := checkNotEmpty(path); err != nil {
		return err
	}
	return withProvider(path, func(db *sql.DB, p *goose.Provider) error {
		if err := checkOurs(ctx, db, path); err != nil {
			return err
		}
		found, known, err := versions(ctx, p)
		switch {
		case err != nil:
			return err
		case found > known:
			return tooNew(path, found, known)
		case found < known:
			return fault.New(fault.Conflict, schemaOlder.With(words.Args{"file": path, "found": found, "known": known}))
		}
		return nil
	})
}

func checkNotEmpty(path string) error {
	info, err := os.Stat(path)
	if err == nil && info.Size() == 0 {
		return fault.New(fault.Conflict, fileForeign.With(words.Args{"file": path}))
	}
	return err
}

func tooNew(path string, found, known int64) error {
	return fault.New(fault.Conflict, schemaNewer.With(words.Args{"file": path, "found": found, "known": known}))
}

func withProvider(path string, f func(*sql.DB, *goose.Provider) error) (err error) {
	dsn, err := source(path, writing)
	if err != nil {
		return err
	}
	db, err := sql.Open("sqlite3", dsn)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	files, err := migrations()
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files)
	if err != nil {
		return err
	}
	return f(db, p)
}

func checkOurs(ctx context.Context, db *sql.DB, path string) error {
	var tables, id int64
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&tables); err != nil {
		if isNoDatabase(err) {
			return fault.Wrap(fault.Conflict, err, fileForeign.With(words.Args{"file": path}))
		}
		return err
	}
	if err := db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id); err != nil {
		return err
	}
	if tables > 0 && id != applicationID {
		return fault.New(fault.Conflict, fileForeign.With(words.Args{"file": path}))
	}
	return nil
}

func versions(ctx context.Context, p *goose.Provider) (found, known int64, err error) {
	sources := p.ListSources()
	if len(sources) == 0 {
		return 0, 0, fmt.Errorf("sqlite: no migrations embedded")
	}
	known = sources[len(sources)-1].Version
	found, err = p.GetDBVersion(ctx)
	return found, known, err
}
