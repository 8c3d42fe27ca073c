package spray

import (
	"testing"

	"caneward/geo/plane"
)

func TestMeetsItself(t *testing.T) {
	for _, c := range []struct {
		name  string
		shell plane.Ring
		want  bool
	}{
		{"square", plane.Ring{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}, {X: 0, Y: 9}, {X: 0, Y: 0}}, false},
		{"bow-tie", plane.Ring{{X: 0, Y: 0}, {X: 9, Y: 9}, {X: 9, Y: 0}, {X: 0, Y: 9}, {X: 0, Y: 0}}, true},
		{"corner on an edge", plane.Ring{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}, {X: 4, Y: 0}, {X: 0, Y: 9}, {X: 0, Y: 0}}, true},
	} {
		if got := meetsItself(c.shell); got != c.want {
			t.Errorf("%s %v: %v, want %v", c.name, c.shell, got, c.want)
		}
	}
}
