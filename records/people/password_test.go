package people

import (
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/crypto/argon2"

	"caneward/blocks/fault"
)

func TestHashAndCheck(t *testing.T) {
	stored, err := HashAsIs("demo-farm")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(stored, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("stored %q: want argon2id with 19 MiB, 2 passes, 1 lane", stored)
	}
	other, err := HashAsIs("demo-farm")
	if err != nil || other == stored {
		t.Errorf("the same password twice: %q, %v, want another salt", other, err)
	}
	composed, err := HashAsIs("contrase\u00f1a")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, stored, password string
		want                   bool
	}{
		{"right", stored, "demo-farm", true},
		{"wrong", stored, "demo-farn", false},
		{"longer", stored, "demo-farm ", false},
		{"empty", stored, "", false},
		{"nobody", "", "demo-farm", false},
		{"nobody, no password", "", "", false},
		{"composed otherwise", composed, "contrasen\u0303a", true},
		{"far too long", stored, strings.Repeat("x", 1<<20), false},
	} {
		if ok, err := CheckPassword(c.stored, c.password); ok != c.want || err != nil {
			t.Errorf("%s: %v, %v, want %v", c.name, ok, err, c.want)
		}
	}
}

// The library against the test vector of RFC 9106 section 5.3 is the
// library's affair; this pins that our strings mean what others read in them:
// made with the reference implementation's command line,
//
//	echo -n password | argon2 somesalt -id -t 2 -k 65536 -p 1 -l 32 -e
//
// as its own test suite lists it (P-H-C/phc-winner-argon2, src/test.c, from
// memory).
func TestForeignPHC(t *testing.T) {
	const theirs = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	if ok, err := CheckPassword(theirs, "password"); !ok || err != nil {
		t.Errorf("their string: %v, %v, want true", ok, err)
	}
}

func TestPasswordRule(t *testing.T) {
	for password, good := range map[string]bool{
		"": false, "12345678901": false, "a1b2c3d4e5f7": true, strings.Repeat("ñ", 11): false, strings.Repeat("ñ", 12): true,
		"1qaz2wsx3edc": false, "1QAZ2wsx3edc": false, "1qaz2wsx3edc ": true,
		strings.Repeat("x", 200): true, strings.Repeat("x", 201): false, "bad\xffutf8 text": false,
	} {
		_, err := HashPassword(password)
		if good != (err == nil) || err != nil && !fault.Is(err, fault.Invalid) {
			t.Errorf("%q: %v, want good %v", password, err, good)
		}
	}
}

func TestDamagedPHC(t *testing.T) {
	good := nobody.String()
	if _, err := parsePHC(good); err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string]string{
		"bcrypt":          "$2a$10$abcdefghijklmnopqrstuv",
		"argon2i":         strings.Replace(good, "argon2id", "argon2i", 1),
		"other version":   strings.Replace(good, "v=19", "v=16", 1),
		"huge memory":     strings.Replace(good, "m=19456", "m=4000000000", 1),
		"no passes":       strings.Replace(good, "t=2", "t=0", 1),
		"no lanes":        strings.Replace(good, "p=1", "p=0", 1),
		"too many lanes":  strings.Replace(good, "p=1", "p=300", 1),
		"cut":             good[:len(good)-30],
		"rest after it":   good + "$x",
		"other parameter": strings.Replace(good, "p=1", "p=1,x=2", 1),
		"no salt":         strings.Replace(good, "$AAAAAAAAAAAAAAAAAAAAAA$", "$$", 1),
	} {
		if ok, err := CheckPassword(bad, "demo-farm"); ok || err == nil {
			t.Errorf("%s, %q: %v, %v, want an error", name, bad, ok, err)
		}
	}
}

// A name nobody has costs one derivation of the same settings.
func TestNobodyCostsTheSame(t *testing.T) {
	stored, err := HashAsIs("demo-farm")
	if err != nil {
		t.Fatal(err)
	}
	p, err := parsePHC(stored)
	if err != nil {
		t.Fatal(err)
	}
	if p.memory != nobody.memory || p.passes != nobody.passes || p.lanes != nobody.lanes || len(p.key) != len(nobody.key) || len(p.salt) != len(nobody.salt) {
		t.Errorf("nobody %+v, a new password %+v: want equal settings", nobody, p)
	}
	if string(argon2.IDKey([]byte("x"), nobody.salt, nobody.passes, nobody.memory, nobody.lanes, keyLength)) == string(nobody.key) {
		t.Error("nobody has a password")
	}
}

func TestLimiter(t *testing.T) {
	l := newLimiter(1, 1, 20*time.Millisecond)
	hold, held := make(chan struct{}), make(chan struct{})
	var group sync.WaitGroup
	group.Go(func() { l.do(func() { close(held); <-hold }) })
	<-held
	start := time.Now()
	if err := l.do(func() { t.Error("ran beside the first") }); !fault.Is(err, fault.TooMany) || time.Since(start) < 20*time.Millisecond {
		t.Errorf("waited %v: %v, want TooMany after 20 ms", time.Since(start), err)
	}
	waiting := make(chan error)
	l.wait = time.Minute
	go func() { waiting <- l.do(func() {}) }()
	for len(l.waiters) < 2 {
		time.Sleep(time.Millisecond)
	}
	start = time.Now()
	if err := l.do(func() {}); !fault.Is(err, fault.TooMany) || time.Since(start) > 10*time.Second {
		t.Errorf("third: %v after %v, want TooMany at once", err, time.Since(start))
	}
	close(hold)
	if err := <-waiting; err != nil {
		t.Errorf("second: %v, want it to run once the first ends", err)
	}
	group.Wait()
	if err := l.do(func() {}); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

func TestNames(t *testing.T) {
	for typed, want := range map[string]string{" Grower ": "grower", "ANN.B-1_c": "ann.b-1_c"} {
		if got := NormalName(typed); got != want || !IsName(got) {
			t.Errorf("%q: %q, a name %v; want %q, true", typed, got, IsName(got), want)
		}
	}
}
