package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"io"
	"net/url"
	"path/filepath"

	"github.com/mattn/go-sqlite3"
)

// conn is one connection with its prepared statements. It is the driver's own,
// without database/sql between: half of a short statement's time went there.
// One goroutine at a time.
type conn struct {
	driver     *sqlite3.SQLiteConn
	statements map[string]*sqlite3.SQLiteStmt
}

// The settings stand in the connection string, so that no connection can be
// without them. synchronous=FULL flushes the log at every commit: NORMAL is 20
// times as fast and loses acknowledged work with the power.
var (
	common = url.Values{
		"_journal_mode": {"WAL"},
		"_synchronous":  {"FULL"},
		"_foreign_keys": {"1"},
		"_busy_timeout": {"10000"},
		// Bytes that are given up are overwritten: ended sessions are gone, and
		// no stale copy of a record is left where a page was split.
		"_secure_delete": {"FAST"},
	}
	writing = with(common, "_txlock", "immediate", "_cache_size", "-65536")
	reading = with(common, "_txlock", "deferred", "_cache_size", "-16384", "_query_only", "1")
)

func with(v url.Values, pairs ...string) url.Values {
	all := url.Values{}
	for name, values := range v {
		all[name] = values
	}
	for i := 0; i < len(pairs); i += 2 {
		all.Set(pairs[i], pairs[i+1])
	}
	return all
}

// source is the connection string of a file that exists; opening never makes one.
func source(path string, settings url.Values) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: with(settings, "mode", "rw").Encode()}
	return u.String(), nil
}

func dial(path string, settings url.Values) (*conn, error) {
	dsn, err := source(path, settings)
	if err != nil {
		return nil, err
	}
	c, err := (&sqlite3.SQLiteDriver{}).Open(dsn)
	if err != nil {
		return nil, err
	}
	return &conn{driver: c.(*sqlite3.SQLiteConn), statements: map[string]*sqlite3.SQLiteStmt{}}, nil
}

func (c *conn) close() error {
	var errs []error
	for _, s := range c.statements {
		errs = append(errs, s.Close())
	}
	return errors.Join(append(errs, c.driver.Close())...)
}

func (c *conn) prepare(query string) (*sqlite3.SQLiteStmt, error) {
	if s, there := c.statements[query]; there {
		return s, nil
	}
	s, err := c.driver.Prepare(query)
	if err != nil {
		return nil, err
	}
	c.statements[query] = s.(*sqlite3.SQLiteStmt)
	return c.statements[query], nil
}

// exec runs a statement that gives no rows. It is not to be interrupted.
func (c *conn) exec(query string, args ...driver.Value) error {
	_, err := c.insert(query, args...)
	return err
}

// insert is exec that gives the row's number.
func (c *conn) insert(query string, args ...driver.Value) (int64, error) {
	s, err := c.prepare(query)
	if err != nil {
		return 0, err
	}
	result, err := s.Exec(args)
	if err != nil {
		return 0, err
	}
	return result.LastInsertId()
}

// errEnough ends rows early without an error.
var errEnough = errors.New("enough")

// rows gives each row to f; the slice is used again for the next. f must not
// run the same query on this connection.
func (c *conn) rows(ctx context.Context, query string, args []driver.Value, f func(row []driver.Value) error) (err error) {
	if err := ctx.Err(); err != nil {
		return err
	}
	s, err := c.prepare(query)
	if err != nil {
		return err
	}
	named := make([]driver.NamedValue, len(args))
	for i, a := range args {
		named[i] = driver.NamedValue{Ordinal: i + 1, Value: a}
	}
	found, err := s.QueryContext(ctx, named)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, found.Close()) }()
	row := make([]driver.Value, len(found.Columns()))
	for {
		switch err := found.Next(row); {
		case err == io.EOF:
			return nil
		case err != nil:
			return err
		}
		switch err := f(row); {
		case err == errEnough:
			return nil
		case err != nil:
			return err
		}
	}
}

// row gives the first row, nil when there is none.
func (c *conn) row(ctx context.Context, query string, args ...driver.Value) (first []driver.Value, err error) {
	err = c.rows(ctx, query, args, func(row []driver.Value) error {
		first = append(first, row...)
		return errEnough
	})
	return first, err
}

// number reads one integer.
func (c *conn) number(ctx context.Context, query string, args ...driver.Value) (int64, error) {
	row, err := c.row(ctx, query, args...)
	if err != nil || row == nil {
		return 0, err
	}
	return integer(row[0]), nil
}

// integer, text and bytes read a column; NULL and other types give nought.
func integer(v driver.Value) int64 {
	n, _ := v.(int64)
	return n
}

func text(v driver.Value) string {
	s, _ := v.(string)
	return s
}

func bytes(v driver.Value) []byte {
	b, _ := v.([]byte)
	return b
}
