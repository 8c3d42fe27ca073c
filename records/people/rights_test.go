package people

import (
	"strings"
	"testing"

	"caneward/records"
)

// The table is our own: who makes which record at work (common practice, no
// published source).
func TestMay(t *testing.T) {
	want := map[records.Role]string{
		records.Owner:      "blocks rows surroundings stages visits finds samples removals reviews products passes tracks",
		records.Applicator: "stages visits finds removals products passes tracks",
		records.Scout:      "stages visits finds samples removals",
		records.Adviser:    "stages visits finds samples removals reviews",
		records.Viewer:     "",
		"":                 "",
		"root":             "",
	}
	for role, list := range want {
		var got []string
		for _, kind := range records.Kinds {
			if May(role, Write, kind) {
				got = append(got, string(kind))
			}
			if reads := May(role, Read, kind); reads != IsRole(role) {
				t.Errorf("%q reads %s: %v", role, kind, reads)
			}
			if imports := May(role, Import, kind); imports != (role == records.Owner) {
				t.Errorf("%q imports %s: %v", role, kind, imports)
			}
			if governs := May(role, Govern, kind); governs != (role == records.Owner) {
				t.Errorf("%q governs: %v", role, governs)
			}
		}
		if s := strings.Join(got, " "); s != list {
			t.Errorf("%q writes %q, want %q", role, s, list)
		}
	}
}
