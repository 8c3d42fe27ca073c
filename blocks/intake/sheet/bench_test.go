package sheet

import (
	"context"
	"strings"
	"testing"
)

// BenchmarkRead reads 10,000 rows of five columns.
func BenchmarkRead(b *testing.B) {
	for name, text := range map[string]string{
		"decimal": "id,lat,lon,date,note\n" + strings.Repeat("f0,36.3131111,-94.4412345,2026-05-04 14:30,some note here\n", 10_000),
		"dms":     "id,lat,lon,date,note\n" + strings.Repeat("f0,36°18'47.2\"N,94°26'28.44\"W,13/05/2026,some note here\n", 10_000),
		"pairs":   "id;position;date;note\n" + strings.Repeat("f0;36°18'47.2\"N 94°26'28.44\"W;13/05/2026;some note here\n", 10_000),
	} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				s, err := Open(context.Background(), []byte(text), Options{})
				if err != nil {
					b.Fatal(err)
				}
				if out, err := readAll(s); err != nil || len(out.features) != 10_000 {
					b.Fatal(len(out.features), err)
				}
			}
		})
	}
}
