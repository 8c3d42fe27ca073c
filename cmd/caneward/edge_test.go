package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

func TestAddresses(t *testing.T) {
	var a addresses
	for _, good := range []string{"127.0.0.1", "10.1.2.3/8", "::1", "2001:db8::/32"} {
		if err := a.Set(good); err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
	if got, want := a.String(), "[127.0.0.1/32 10.0.0.0/8 ::1/128 2001:db8::/32]"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	for _, bad := range []string{"", "localhost", "10.0.0.0/40", "1.2.3"} {
		if err := a.Set(bad); err == nil {
			t.Errorf("%q passes", bad)
		}
	}
}

func TestSecretKey(t *testing.T) {
	dir := t.TempDir()
	first, err := secretKey(dir)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(filepath.Join(dir, secretFile))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file: %v, %v, want 0600", info.Mode(), err)
	}
	if again, err := secretKey(dir); err != nil || !bytes.Equal(first, again) {
		t.Errorf("again: %x, %v", again, err)
	}
	if err := os.WriteFile(filepath.Join(dir, secretFile), []byte("short"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := secretKey(dir); err == nil {
		t.Error("a cut key passes")
	}
}
