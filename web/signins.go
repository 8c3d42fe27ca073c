package web

import (
	"context"
	"crypto/sha256"
	"sync"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/web/problem"
)

// How long a failed sign-in, and a failed code, counts.
const (
	signInWindow = time.Minute
	codeWindow   = time.Hour
)

// codeTries is how many wrong codes an hour a person may give: of a million
// codes three are right at a time, so guessing takes years.
const codeTries = 10

// signInKeys bounds how many names and addresses are remembered. A flood of
// made-up names from one address is stopped by the address's own limit long
// before.
const signInKeys = 20_000

var tooManySignIns = words.New("web-too-many-sign-ins",
	"Too many failed sign-ins. Try again in {seconds} s.",
	"Demasiados inicios de sesión fallidos. Inténtelo de nuevo en {seconds} s.")

// signInLimits count failed sign-ins by name and address together, by name from
// anywhere, and by address under any name. So a flood on one name from elsewhere
// does not lock its owner out, and many addresses together still get few tries.
// A try holds a place while its password is checked, so that many at once cannot
// slip through; a good one gives the place back, and others wait for it meanwhile.
type signInLimits struct {
	now    func() time.Time
	window time.Duration
	most   [signInSorts]int

	lock    sync.Mutex
	tries   map[[32]byte]*tries
	changed chan struct{} // closed and replaced when a place may have come free
}

// addressAtOnce is how many sign-ins of one address are checked at once; more
// wait, so that a flood from one does not stand before everybody else in the
// queue for the processors.
const addressAtOnce = 4

// The ways tries are counted.
const (
	byBoth = iota
	byName
	byAddress
	signInSorts
)

// tries of one name or address.
type tries struct {
	failed  []time.Time // oldest first
	running int
}

func newSignInLimits(l Limits, now func() time.Time) *signInLimits {
	return newLimits(now, signInWindow, [signInSorts]int{byBoth: l.Account, byName: l.Anywhere, byAddress: l.Address})
}

func newLimits(now func() time.Time, window time.Duration, most [signInSorts]int) *signInLimits {
	return &signInLimits{now: now, window: window, most: most, tries: map[[32]byte]*tries{}, changed: make(chan struct{})}
}

// signInPass is a place held; leave gives it back.
type signInPass struct {
	limits *signInLimits
	keys   [signInSorts][32]byte
}

// enter takes a place for a name and an address; fault.TooMany with the time to
// wait when either has failed too often. It waits while as many tries as are
// left are running.
func (l *signInLimits) enter(ctx context.Context, name, address string) (*signInPass, error) {
	p := &signInPass{limits: l, keys: [signInSorts][32]byte{
		byBoth:    sha256.Sum256([]byte("both " + name + " " + address)),
		byName:    sha256.Sum256([]byte("name " + name)),
		byAddress: sha256.Sum256([]byte("address " + address)),
	}}
	for {
		wait, room, changed := l.try(p)
		if wait > 0 {
			seconds := int((wait + time.Second - 1) / time.Second)
			return nil, &problem.Waiting{Err: fault.New(fault.TooMany, tooManySignIns.With(words.Args{"seconds": seconds})), Wait: wait}
		}
		if room {
			return p, nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

func (l *signInLimits) try(p *signInPass) (wait time.Duration, room bool, changed <-chan struct{}) {
	l.lock.Lock()
	defer l.lock.Unlock()
	now := l.now()
	room = true
	for i, most := range l.most {
		t := l.tries[p.keys[i]]
		if t == nil {
			continue
		}
		t.forget(now, l.window)
		if n := len(t.failed); n >= most {
			wait = max(wait, t.failed[n-most].Add(l.window).Sub(now))
		}
		room = room && len(t.failed)+t.running < most && (i != byAddress || t.running < addressAtOnce)
	}
	if wait > 0 || !room {
		return wait, false, l.changed
	}
	l.sweep(now)
	for _, key := range p.keys {
		if l.tries[key] == nil {
			l.tries[key] = &tries{}
		}
		l.tries[key].running++
	}
	return 0, true, nil
}

func (t *tries) forget(now time.Time, window time.Duration) {
	i := 0
	for i < len(t.failed) && !now.Before(t.failed[i].Add(window)) {
		i++
	}
	t.failed = t.failed[i:]
}

// sweep drops, once there are many keys, what no longer counts, and then others
// until half are left, so that it is seldom done.
func (l *signInLimits) sweep(now time.Time) {
	if len(l.tries) < signInKeys {
		return
	}
	for key, t := range l.tries {
		if t.forget(now, l.window); len(t.failed)+t.running == 0 {
			delete(l.tries, key)
		}
	}
	for key, t := range l.tries {
		if len(l.tries) < signInKeys/2 {
			return
		}
		if t.running == 0 {
			delete(l.tries, key)
		}
	}
}

func (p *signInPass) leave(failed bool) {
	l := p.limits
	l.lock.Lock()
	defer l.lock.Unlock()
	for _, key := range p.keys {
		t := l.tries[key]
		t.running--
		if failed {
			t.failed = append(t.failed, l.now())
		} else if len(t.failed)+t.running == 0 {
			delete(l.tries, key)
		}
	}
	close(l.changed)
	l.changed = make(chan struct{})
}
