package people

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"
)

// Codes as authenticator programs make them by default: RFC 6238 with SHA-1, 30
// seconds, six digits; the key has the 160 bits RFC 4226 section 4 recommends.
const (
	codeStep     = 30 * time.Second
	codeDigits   = 6
	codeKeyBytes = 20
	// codeDrift is how many steps a code may be early or late: RFC 6238 section
	// 5.2 recommends one step for the network; clocks of phones err as much.
	codeDrift = 1
)

// hotp is the code of a counter (RFC 4226 section 5.3).
func hotp(key []byte, counter uint64, digits int) string {
	mac := hmac.New(sha1.New, key)
	var c [8]byte
	binary.BigEndian.PutUint64(c[:], counter)
	mac.Write(c[:])
	sum := mac.Sum(nil)
	at := sum[len(sum)-1] & 15
	n := binary.BigEndian.Uint32(sum[at:]) & 0x7fffffff
	most := uint32(1)
	for range digits {
		most *= 10
	}
	return fmt.Sprintf("%0*d", digits, n%most)
}

// NewCodeKey makes the key of a second factor.
func NewCodeKey() []byte {
	key := make([]byte, codeKeyBytes)
	rand.Read(key)
	return key
}

// CodeAt is the code of a key at a moment.
func CodeAt(key []byte, now time.Time) string {
	return hotp(key, uint64(now.Unix()/int64(codeStep/time.Second)), codeDigits)
}

// CheckCode gives the step whose code this is, of those about now.
func CheckCode(key []byte, code string, now time.Time) (step int64, ok bool) {
	at := now.Unix() / int64(codeStep/time.Second)
	for s := at - codeDrift; s <= at+codeDrift; s++ {
		if subtle.ConstantTimeCompare([]byte(hotp(key, uint64(s), codeDigits)), []byte(code)) == 1 {
			step, ok = s, true
		}
	}
	return step, ok
}

// CodeAddress is what an authenticator program reads to take a key in; key is
// the same in letters, in groups of four, for typing.
func CodeAddress(key []byte, person, issuer string) (address, typed string) {
	text := base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(key)
	q := url.Values{"secret": {text}, "issuer": {issuer}}
	address = "otpauth://totp/" + url.PathEscape(issuer+":"+person) + "?" + strings.ReplaceAll(q.Encode(), "+", "%20")
	var groups []string
	for len(text) > 4 {
		groups, text = append(groups, text[:4]), text[4:]
	}
	return address, strings.Join(append(groups, text), " ")
}

// recoveryCodes is how many are handed out: common practice.
const recoveryCodes = 10

// NewRecovery makes recovery codes of 80 random bits and their hashes; so many
// bits need no slow hash.
func NewRecovery() (codes, hashes []string) {
	for range recoveryCodes {
		raw := make([]byte, 10)
		rand.Read(raw)
		code := base32.StdEncoding.EncodeToString(raw)
		codes = append(codes, strings.ToLower(code[:4]+"-"+code[4:8]+"-"+code[8:12]+"-"+code[12:]))
		hashes = append(hashes, RecoveryHash(code))
	}
	return codes, hashes
}

// RecoveryHash is what a recovery code is kept as, however it is typed.
func RecoveryHash(code string) string {
	sum := sha256.Sum256([]byte(strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(code))))
	return hex.EncodeToString(sum[:])
}

// SecretKeyBytes is the length of the key that second factors are sealed with.
const SecretKeyBytes = 32

var errSealed = errors.New("people: a second factor is sealed by another key than this server's")

// Seal closes a person's code key with the server's key (AES-256-GCM), so that a
// copy of the records alone gives no codes. It fits no other person.
func Seal(serverKey, codeKey []byte, person string) ([]byte, error) {
	box, err := sealer(serverKey)
	if err != nil {
		return nil, err
	}
	return box.Seal(nil, nil, codeKey, []byte(person)), nil
}

// Open is the reverse of Seal.
func Open(serverKey, sealed []byte, person string) ([]byte, error) {
	box, err := sealer(serverKey)
	if err != nil {
		return nil, err
	}
	key, err := box.Open(nil, nil, sealed, []byte(person))
	if err != nil {
		return nil, errSealed
	}
	return key, nil
}

func sealer(serverKey []byte) (cipher.AEAD, error) {
	block, err := aes.NewCipher(serverKey)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCMWithRandomNonce(block)
}
