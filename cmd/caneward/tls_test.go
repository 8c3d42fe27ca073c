package main

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A client that trusts the authority's file, and nothing else, can speak to the
// server under each of its names; the authority outlives a restart.
func TestOwnCertificate(t *testing.T) {
	dir := t.TempDir()
	names := []string{"farm.local", "192.0.2.7"}
	first, file, sum, err := ownCertificate(dir, names, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	again, _, same, err := ownCertificate(dir, names, time.Now())
	if err != nil || same != sum {
		t.Fatalf("a second start made another authority: %v", err)
	}
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(raw) {
		t.Fatal("the authority's file holds no certificate")
	}
	for _, pair := range []tls.Certificate{first, again} {
		for name, want := range map[string]bool{"farm.local": true, "192.0.2.7": true, "other.local": false} {
			if got := shakeHands(t, pair, roots, name); got != want {
				t.Errorf("%s: trusted %v, want %v", name, got, want)
			}
		}
	}
	for _, key := range []string{"authority.key"} {
		info, err := os.Stat(filepath.Join(dir, "tls", key))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v; want it for its owner alone", key, info.Mode(), err)
		}
	}
	if _, _, _, err := ownCertificate(dir, names, time.Now().Add(authorityLife-time.Hour)); err == nil {
		t.Error("an authority that runs out within the month is used without a word")
	}
}

func shakeHands(t *testing.T, pair tls.Certificate, roots *x509.CertPool, name string) bool {
	t.Helper()
	ours, theirs := net.Pipe()
	defer ours.Close()
	defer theirs.Close()
	server := tls.Server(theirs, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12})
	ended := make(chan error, 1)
	go func() { ended <- server.Handshake() }()
	err := tls.Client(ours, &tls.Config{RootCAs: roots, ServerName: name, MinVersion: tls.VersionTLS12}).Handshake()
	ours.Close()
	<-ended
	return err == nil
}
