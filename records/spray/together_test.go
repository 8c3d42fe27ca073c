package spray

import (
	"context"
	"errors"
	"fmt"
	"testing"
)

func TestTogether(t *testing.T) {
	done := make([]int, 100)
	if err := together(t.Context(), len(done), func(i int) error { done[i]++; return nil }); err != nil {
		t.Fatal(err)
	}
	for i, n := range done {
		if n != 1 {
			t.Errorf("%d was done %d times", i, n)
		}
	}
	for range 50 {
		err := together(t.Context(), 100, func(i int) error {
			if i >= 30 {
				return fmt.Errorf("%d", i)
			}
			return nil
		})
		if err == nil || err.Error() != "30" {
			t.Fatalf("got %v, want the lowest error, 30", err)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := together(ended, 1, func(int) error { t.Error("begun though the context had ended"); return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	defer func() {
		if got := recover(); got != "from 2" {
			t.Errorf("caught %v, want the panic of 2", got)
		}
	}()
	_ = together(t.Context(), 3, func(i int) error {
		if i == 2 {
			panic("from 2")
		}
		return nil
	})
}
