package spray

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// together calls do for 0 to n-1 on all processors. Each call may change only what
// is its own, so that the outcome does not depend on how many there are. It gives
// the error of the lowest number that has one; once there is one, or the context
// ends, no more are begun. A panic is handed on to the caller.
func together(ctx context.Context, n int, do func(i int) error) error {
	var next atomic.Int64
	var stopped atomic.Bool
	var workers sync.WaitGroup
	errs, panics := make([]error, n), make([]any, n)
	for range min(runtime.GOMAXPROCS(0), n) {
		workers.Go(func() {
			for !stopped.Load() {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				if errs[i] = ctx.Err(); errs[i] == nil {
					errs[i] = guarded(do, i, &panics[i])
				}
				if errs[i] != nil || panics[i] != nil {
					stopped.Store(true)
				}
			}
		})
	}
	workers.Wait()
	for i := range n {
		if panics[i] != nil {
			panic(panics[i])
		}
		if errs[i] != nil {
			return errs[i]
		}
	}
	return nil
}

// abreast is together for short work that cannot fail.
func abreast(n int, do func(i int)) {
	// Without a context to end and with no error from do there is none to give.
	_ = together(context.Background(), n, func(i int) error {
		do(i)
		return nil
	})
}

// guarded keeps what a call panicked with, for its own goroutine has nobody to catch
// it.
func guarded(do func(int) error, i int, panicked *any) error {
	defer func() { *panicked = recover() }()
	return do(i)
}
