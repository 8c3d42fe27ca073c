package people

import (
	"caneward/blocks/words"
	"caneward/records"
)

var roleNames = map[records.Role]words.Message{
	records.Owner:      words.New("people-role-owner", "grower", "productor"),
	records.Applicator: words.New("people-role-applicator", "applicator", "aplicador"),
	records.Scout:      words.New("people-role-scout", "scout", "monitor de campo"),
	records.Adviser:    words.New("people-role-adviser", "adviser", "asesor"),
	records.Viewer:     words.New("people-role-viewer", "reader", "lector"),
}

// RoleName is the role as people say it; an unknown role stands as written.
func RoleName(role records.Role) words.Text {
	if m, known := roleNames[role]; known {
		return m.Plain()
	}
	return words.Verbatim(string(role))
}
