package people

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	_ "embed" // the list of common passwords
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Cost of one password: argon2id with 19 MiB, 2 passes and one lane, the first
// of the settings that the OWASP Password Storage Cheat Sheet lists as equal in
// strength; salt and key lengths are those of RFC 9106 section 4.
const (
	memoryKiB  = 19 * 1024
	passes     = 2
	lanes      = 1
	saltLength = 16
	keyLength  = 32
)

// Limits on a stored PHC string, so that a damaged one cannot take the machine.
const (
	maxMemoryKiB = 256 * 1024
	maxPasses    = 16
	maxLanes     = 16
)

// Length of a new password, in characters. NIST SP 800-63B allows 8 and more and
// asks for nothing else than length and a list of common ones; 12 is our choice,
// since a grower's sign-in opens records that are worth years. The upper bound
// keeps a request from being work.
const (
	PasswordLeast = 12
	PasswordMost  = 200
)

// Hashing takes tens of milliseconds of one core and 19 MiB each time. So only
// as many run at once as there are cores, a few more wait, and the rest are told
// to come back: a flood of sign-ins cannot starve the other requests.
const (
	waitersLimit = 64
	waitLimit    = 15 * time.Second
)

var (
	passwordShort = words.New("people-password-short",
		"A password needs at least {least} characters.",
		"Una contraseña necesita al menos {least} caracteres.")
	passwordLong = words.New("people-password-long",
		"A password may have at most {most} characters.",
		"Una contraseña puede tener como máximo {most} caracteres.")
	passwordEncoding = words.New("people-password-encoding",
		"This password is not valid text (UTF-8).",
		"Esta contraseña no es texto válido (UTF-8).")
	passwordCommon = words.New("people-password-common",
		"This password is among the most common ones. Choose another, such as four words that do not belong together.",
		"Esta contraseña es de las más comunes. Elija otra, por ejemplo cuatro palabras que no tengan que ver.")
	signInsBusy = words.New("people-sign-ins-busy",
		"Too many people are signing in at this moment. Try again in a few seconds.",
		"Demasiadas personas están iniciando sesión en este momento. Inténtelo de nuevo en unos segundos.")
)

var errPHC = errors.New("people: not a PHC string of argon2id")

// limiter lets a few at a time through and bounds how many wait and how long.
type limiter struct {
	waiters, running chan struct{}
	wait             time.Duration
}

func newLimiter(running, waiters int, wait time.Duration) *limiter {
	return &limiter{running: make(chan struct{}, running), waiters: make(chan struct{}, running+waiters), wait: wait}
}

var hashing = newLimiter(runtime.GOMAXPROCS(0), waitersLimit, waitLimit)

func (l *limiter) do(f func()) error {
	select {
	case l.waiters <- struct{}{}:
		defer func() { <-l.waiters }()
	default:
		return fault.New(fault.TooMany, signInsBusy.Plain())
	}
	patience := time.NewTimer(l.wait)
	defer patience.Stop()
	select {
	case l.running <- struct{}{}:
		defer func() { <-l.running }()
	case <-patience.C:
		return fault.New(fault.TooMany, signInsBusy.Plain())
	}
	f()
	return nil
}

// HashPassword makes the PHC string of a new password, with a fresh salt:
// $argon2id$v=19$m=19456,t=2,p=1$salt$key. The password is taken in Unicode
// normalization form C, so that it does not matter how a keyboard composes an
// accent. fault.Invalid when CheckNew refuses it, fault.TooMany when too many wait.
func HashPassword(password string) (string, error) {
	if err := CheckNew(password); err != nil {
		return "", err
	}
	return HashAsIs(password)
}

// HashAsIs is HashPassword for the sign-ins of invented demo data, whose
// password is printed and keeps no rule.
func HashAsIs(password string) (string, error) {
	salt := make([]byte, saltLength)
	rand.Read(salt)
	p := phc{memory: memoryKiB, passes: passes, lanes: lanes, salt: salt}
	err := hashing.do(func() { p.key = p.derive(password, keyLength) })
	if err != nil {
		return "", err
	}
	return p.String(), nil
}

//go:embed common.txt
var commonList string

// common are the passwords of PasswordLeast characters or more among the 30,000
// most common of zxcvbn 4.4.2 (Dropbox; MIT, see common.LICENSE): the first 16
// hexadecimal digits of the SHA-256 of each in lower case, since such a list is
// no reading for a source tree.
var common = sync.OnceValue(func() map[string]bool {
	all := map[string]bool{}
	for _, one := range strings.Fields(commonList) {
		all[one] = true
	}
	return all
})

func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:8])
}

// CheckNew is the rule for a new password: its length, and that it is not among
// the most common ones. fault.Invalid.
func CheckNew(password string) error {
	var text words.Text
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password):
		text = passwordEncoding.Plain()
	case n < PasswordLeast:
		text = passwordShort.With(words.Args{"least": PasswordLeast})
	case n > PasswordMost:
		text = passwordLong.With(words.Args{"most": PasswordMost})
	case common()[digest(strings.ToLower(norm.NFC.String(password)))]:
		text = passwordCommon.Plain()
	default:
		return nil
	}
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "password"})
}

// CheckPassword compares a password with a PHC string, in a time that does not
// depend on how much of it is right. An empty phc stands for a name nobody has:
// it takes the same work and answers false, so that the time of the answer does
// not tell which names exist. fault.TooMany when too many wait; any other error
// means the stored string is damaged.
func CheckPassword(stored, password string) (ok bool, err error) {
	p, err := parsePHC(stored)
	if stored == "" {
		p, err = nobody, nil
	}
	if err != nil {
		return false, err
	}
	if len(password) > PasswordMost*utf8.UTFMax {
		return false, nil
	}
	err = hashing.do(func() {
		key := p.derive(password, len(p.key))
		ok = subtle.ConstantTimeCompare(key, p.key) == 1
	})
	return ok && err == nil && stored != "", err
}

// nobody costs what everybody costs.
var nobody = phc{memory: memoryKiB, passes: passes, lanes: lanes, salt: make([]byte, saltLength), key: make([]byte, keyLength)}

type phc struct {
	memory, passes uint32
	lanes          uint8
	salt, key      []byte
}

func (p phc) derive(password string, length int) []byte {
	return argon2.IDKey([]byte(norm.NFC.String(password)), p.salt, p.passes, p.memory, p.lanes, uint32(length))
}

// String follows the PHC string format: base64 without padding.
func (p phc) String() string {
	b64 := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, p.memory, p.passes, p.lanes, b64(p.salt), b64(p.key))
}

func parsePHC(s string) (p phc, err error) {
	parts := strings.Split(s, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return p, errPHC
	}
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &p.memory, &p.passes, &p.lanes); err != nil || n != 3 {
		return p, errPHC
	}
	if p.salt, err = base64.RawStdEncoding.Strict().DecodeString(parts[4]); err != nil {
		return p, errPHC
	}
	if p.key, err = base64.RawStdEncoding.Strict().DecodeString(parts[5]); err != nil {
		return p, errPHC
	}
	if p.memory > maxMemoryKiB || p.passes < 1 || p.passes > maxPasses || p.lanes < 1 || p.lanes > maxLanes ||
		len(p.salt) < 8 || len(p.key) < saltLength || len(p.key) > 64 || p.String() != s {
		return p, errPHC
	}
	return p, nil
}

// TokenHash is what a session is kept under: the SHA-256 of its token. A token
// is 32 random bytes or more, so no salt or slow hash is needed.
func TokenHash(token string) [32]byte { return sha256.Sum256([]byte(token)) }
