package sqlite

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
)

const (
	// queueLength is how many requests wait at most; further ones block their
	// callers until there is room or their context ends.
	queueLength = 1024
	// groupWeight bounds what goes into one transaction, in records: about 50 ms
	// of work, so that nobody waits much longer for others.
	groupWeight = 2000
)

// request is one piece of work for the writer.
type request struct {
	ctx    context.Context
	do     func(*transaction) error
	weight int // records it may write
	state  atomic.Int32
	done   chan error
}

// A request is claimed once, by the writer or by a caller that gives up.
const (
	waiting int32 = iota
	taken
	givenUp
)

type writer struct {
	conn  *conn
	now   func() time.Time
	queue chan *request
	ended chan struct{}

	lock    sync.RWMutex // guards closing the queue against sending on it
	stopped bool
	closing error // set before ended closes
}

func startWriter(c *conn, now func() time.Time) *writer {
	w := &writer{conn: c, now: now, queue: make(chan *request, queueLength), ended: make(chan struct{})}
	go w.run()
	return w
}

func (w *writer) stop() error {
	w.lock.Lock()
	if !w.stopped {
		w.stopped = true
		close(w.queue)
	}
	w.lock.Unlock()
	<-w.ended
	return w.closing
}

// submit runs do in a transaction and waits until it is on disk. do runs on
// the writer's goroutine, possibly more than once; only the last run counts. A context
// that ends before the writer took the request leaves nothing stored.
func (w *writer) submit(ctx context.Context, weight int, do func(*transaction) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	r := &request{ctx: ctx, do: do, weight: max(weight, 1), done: make(chan error, 1)}
	if err := w.enqueue(r); err != nil {
		return err
	}
	select {
	case err := <-r.done:
		return translate(err)
	case <-ctx.Done():
		if r.state.CompareAndSwap(waiting, givenUp) {
			return ctx.Err()
		}
		return translate(<-r.done)
	}
}

func (w *writer) enqueue(r *request) error {
	w.lock.RLock()
	defer w.lock.RUnlock()
	if w.stopped {
		return ErrClosed
	}
	select {
	case w.queue <- r:
		return nil
	case <-r.ctx.Done():
		return r.ctx.Err()
	}
}

func (w *writer) run() {
	defer close(w.ended)
	var group []*request
	for r := range w.queue {
		group = w.gather(group[:0], r)
		w.serve(group)
	}
	w.closing = w.conn.close()
}

// gather takes what waits behind r, without waiting for more.
func (w *writer) gather(group []*request, r *request) []*request {
	weight := 0
	for {
		if r.state.CompareAndSwap(waiting, taken) {
			if err := r.ctx.Err(); err != nil {
				r.done <- err
			} else {
				group = append(group, r)
				weight += r.weight
			}
		}
		if weight >= groupWeight {
			return group
		}
		select {
		case next, open := <-w.queue:
			if !open {
				return group
			}
			r = next
		default:
			return group
		}
	}
}

// serve stores a group and answers each. It goes without savepoints first, for
// each one costs a copy of every page a request touches; where a request fails,
// the group is run once more with them. Where the whole transaction fails for
// want of room, each request is tried alone, so that a large one does not take
// small ones with it.
func (w *writer) serve(group []*request) {
	if len(group) == 0 {
		return
	}
	results, err := w.commit(group, len(group) > 1)
	if err == errAgain {
		results, err = w.commit(group, false)
	}
	if err != nil && len(group) > 1 && fault.Is(translate(err), fault.Full) {
		for _, r := range group {
			w.serve([]*request{r})
		}
		return
	}
	for i, r := range group {
		if err != nil {
			r.done <- err
		} else {
			r.done <- results[i]
		}
	}
}

// errAgain: a request failed in a transaction without savepoints.
var errAgain = errors.New("sqlite: a request failed, the group is to be run again")

// commit runs a group in one transaction. The error is the transaction's; then
// nothing is stored.
func (w *writer) commit(group []*request, bold bool) (results []error, err error) {
	if err := w.conn.exec("BEGIN IMMEDIATE"); err != nil {
		return nil, err
	}
	defer func() {
		// Some failures end the transaction by themselves.
		if err != nil && !w.conn.driver.AutoCommit() {
			if undone := w.conn.exec("ROLLBACK"); undone != nil {
				err = errors.Join(err, undone)
			}
		}
	}()
	t := &transaction{conn: w.conn, now: w.now, farms: map[records.FarmID]*farmState{}}
	for _, r := range group {
		if bold {
			if err := r.do(t); err != nil {
				return nil, errAgain
			}
			continue
		}
		result, err := t.attempt(r.do)
		if err != nil {
			return nil, err
		}
		results = append(results, result)
	}
	if bold {
		results = make([]error, len(group))
	}
	if err := t.saveFarms(); err != nil {
		return nil, err
	}
	return results, w.conn.exec("COMMIT")
}

// transaction is what requests write through.
type transaction struct {
	conn  *conn
	now   func() time.Time
	farms map[records.FarmID]*farmState
	// touched is the one farm the running request writes, before what it was.
	touched *farmState
	before  farmState
}

// attempt runs one request behind a savepoint. result is the request's own
// error, after which nothing of it is left; err is the transaction's.
func (t *transaction) attempt(do func(*transaction) error) (result, err error) {
	if err := t.conn.exec("SAVEPOINT request"); err != nil {
		return nil, err
	}
	t.touched = nil
	result = do(t)
	if result == nil {
		return nil, t.conn.exec("RELEASE request")
	}
	if t.conn.driver.AutoCommit() {
		return nil, result
	}
	if fault.Is(translate(result), fault.Full) {
		return nil, result
	}
	if t.touched != nil {
		*t.touched = t.before
	}
	if err := t.conn.exec("ROLLBACK TO request"); err != nil {
		return nil, err
	}
	return result, t.conn.exec("RELEASE request")
}
