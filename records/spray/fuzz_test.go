package spray

import (
	"context"
	"errors"
	"testing"

	"caneward/blocks/fault"
	"caneward/geo"
)

// Whatever is sent: an answer or a refusal that says where, never a panic.
func FuzzDraft(f *testing.F) {
	f.Add([]byte(streamDraft))
	f.Add([]byte(`{"blocks":["` + idA + `"],"rows":{"` + idA + `":[1]},"pattern":"band","band_width_m":1,"sides":1,"wind_from_deg":3}`))
	f.Add([]byte(`{"pattern":"spot","area":{"type":"Polygon","coordinates":[[[-80.42,35.87],[-80.419,35.87],[-80.419,35.871],[-80.42,35.87]]]}}`))
	f.Add([]byte(`{"state":"applied","products":[{"product":{"name":"x","rates":[{"value":1,"unit":"lb","per":"acre","most":2}],"caps":[{"what":"uses","value":1,"per":"year"}]}}]}`))
	g, _ := rowGround(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		ParsePass(geo.Geometry{}, body)
		ParseProduct(geo.Geometry{}, body)
		q, err := ReadRequest(body)
		if err == nil {
			if len(q.Blocks) == 0 {
				_, err = Draft(context.Background(), Ground{}, q)
			} else {
				_, err = Draft(context.Background(), g, q)
			}
		}
		var refused *fault.Error
		if err != nil && !errors.As(err, &refused) {
			t.Errorf("%q: %v is no refusal", body, err)
		}
	})
}
