package people

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

// RFC 4226 appendix D (six digits, counters 0 to 9) and RFC 6238 appendix B
// (SHA-1, eight digits): the key is the ASCII text below in both.
func TestCodesOfTheStandards(t *testing.T) {
	key := []byte("12345678901234567890")
	for counter, want := range []string{"755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"} {
		if got := hotp(key, uint64(counter), 6); got != want {
			t.Errorf("RFC 4226, counter %d: %s, want %s", counter, got, want)
		}
	}
	for at, want := range map[int64]string{59: "94287082", 1111111109: "07081804", 1111111111: "14050471", 1234567890: "89005924", 2000000000: "69279037", 20000000000: "65353130"} {
		if got := hotp(key, uint64(at/30), 8); got != want {
			t.Errorf("RFC 6238, time %d: %s, want %s", at, got, want)
		}
		if got := CodeAt(key, time.Unix(at, 0)); got != want[2:] {
			t.Errorf("six digits at %d: %s, want %s", at, got, want[2:])
		}
	}
}

func TestCheckCode(t *testing.T) {
	key, now := NewCodeKey(), time.Unix(1_800_000_015, 0)
	for late, good := range map[time.Duration]bool{0: true, -30 * time.Second: true, 30 * time.Second: true, -60 * time.Second: false, 60 * time.Second: false} {
		step, ok := CheckCode(key, CodeAt(key, now.Add(late)), now)
		if ok != good || ok && step != now.Add(late).Unix()/30 {
			t.Errorf("a code of %v: step %d, %v, want %v", late, step, ok, good)
		}
	}
	for _, code := range []string{"", "12345", "1234567", "abcdef"} {
		if _, ok := CheckCode(key, code, now); ok {
			t.Errorf("%q passes", code)
		}
	}
}

func TestCodeAddress(t *testing.T) {
	address, typed := CodeAddress([]byte("12345678901234567890"), "ann", "My farm")
	// Base 32 of the key as RFC 4648 has it, worked out by hand with base32(1).
	if want := "otpauth://totp/My%20farm:ann?issuer=My%20farm&secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"; address != want {
		t.Errorf("address %s, want %s", address, want)
	}
	if want := "GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ"; typed != want {
		t.Errorf("typed %s, want %s", typed, want)
	}
}

func TestRecovery(t *testing.T) {
	codes, hashes := NewRecovery()
	seen := map[string]bool{}
	for i, code := range codes {
		if seen[code] || len(code) != 19 {
			t.Errorf("code %q: twice, or of another form", code)
		}
		seen[code] = true
		if RecoveryHash(" "+strings.ToUpper(code)) != hashes[i] {
			t.Errorf("%q typed otherwise has another hash", code)
		}
	}
	if len(codes) != recoveryCodes {
		t.Errorf("%d codes, want %d", len(codes), recoveryCodes)
	}
}

func TestSeal(t *testing.T) {
	key, other := bytes.Repeat([]byte{1}, SecretKeyBytes), bytes.Repeat([]byte{2}, SecretKeyBytes)
	secret := NewCodeKey()
	sealed, err := Seal(key, secret, "ann")
	if err != nil || bytes.Contains(sealed, secret) {
		t.Fatalf("sealed %x, %v", sealed, err)
	}
	if got, err := Open(key, sealed, "ann"); err != nil || !bytes.Equal(got, secret) {
		t.Errorf("opened %x, %v", got, err)
	}
	if _, err := Open(other, sealed, "ann"); err == nil {
		t.Error("another key opens it")
	}
	if _, err := Open(key, sealed, "bob"); err == nil {
		t.Error("it opens for another person")
	}
	again, _ := Seal(key, secret, "ann")
	if bytes.Equal(again, sealed) {
		t.Error("sealed twice alike")
	}
}
