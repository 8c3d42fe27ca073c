package sqlite_test

import (
	"context"
	"testing"

	"caneward/records/sqlite"
	"caneward/records/storetest"
)

var bg = context.Background()

func open(t testing.TB, dir string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Store { return open(t, t.TempDir()) })
}
