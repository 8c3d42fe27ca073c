package layout

import (
	"context"

	"caneward/geo/plane"
)

func (l *Layout) beside(ctx context.Context, frame plane.Frame, ground plane.Region, holesApart bool) error {
	return nil
}
