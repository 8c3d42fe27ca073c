package people

import (
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
)

// NameMost is the longest sign-in, in characters.
const NameMost = 40

var (
	nameForm = words.New("people-name-form",
		"A sign-in has 1 to {most} of the letters a to z, digits, dots, hyphens and underscores, and begins with a letter or digit.",
		"Un nombre de acceso tiene de 1 a {most} letras de la a a la z, cifras, puntos, guiones y guiones bajos, y empieza por letra o cifra.")
	nameTaken = words.New("people-name-taken",
		"The sign-in {name} is taken.",
		"El nombre de acceso {name} ya está en uso.")
	personMissing = words.New("people-person-missing",
		"There is no such person.",
		"No existe esa persona.")
	sessionMissing = words.New("people-session-missing",
		"There is no such session, or it has ended.",
		"No existe esa sesión o ya terminó.")
	memberAlready = words.New("people-member-already",
		"You are on this farm already.",
		"Usted ya está en esta finca.")
	grantTaken = words.New("people-grant-taken",
		"There is such a link or token already.",
		"Ya existe ese enlace o clave.")
	codeUsed = words.New("people-code-used",
		"This code was used before. Wait for the next one.",
		"Este código ya se usó. Espere el siguiente.")
	roleForm = words.New("people-role-form",
		"{role} is not a role.",
		"{role} no es una función.")
)

// NormalName is a sign-in as it is kept: without blanks around it, lower case.
func NormalName(typed string) string { return strings.ToLower(strings.TrimSpace(typed)) }

// IsName reports whether a text is a sign-in as it is kept.
func IsName(name string) bool {
	if name == "" || len(name) > NameMost {
		return false
	}
	for i := 0; i < len(name); i++ {
		c := name[i]
		letter := c >= 'a' && c <= 'z' || c >= '0' && c <= '9'
		if !letter && (i == 0 || !strings.ContainsRune(".-_", rune(c))) {
			return false
		}
	}
	return true
}

// Check refuses a person whose id or name is not one. fault.Invalid.
func (p Person) Check() error {
	if _, err := records.ParsePersonID(string(p.ID)); err != nil {
		return err
	}
	if !IsName(p.Name) {
		text := nameForm.With(words.Args{"most": NameMost})
		return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "name"})
	}
	return nil
}

// Check refuses a role that is not one; the empty one, which takes a person
// off a farm, passes. So are limits on an owner. fault.Invalid.
func (m Membership) Check() error {
	if m.Role == records.Owner && !m.Limits.None() {
		return fault.New(fault.Invalid, limitsOwner.Plain(), fault.Detail{Text: limitsOwner.Plain(), Field: "limits"})
	}
	if m.Role == "" || IsRole(m.Role) {
		return m.Limits.Check()
	}
	text := roleForm.With(words.Args{"role": string(m.Role)})
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "role"})
}

// NameTaken is what CreatePerson answers for a name, or an id, in use.
func NameTaken(name string) error {
	return fault.New(fault.Conflict, nameTaken.With(words.Args{"name": name}))
}

// MemberAlready is what Accept answers for who is on the farm.
func MemberAlready() error { return fault.New(fault.Conflict, memberAlready.Plain()) }

// GrantTaken is what AddGrant answers for an id or secret in use.
func GrantTaken() error { return fault.New(fault.Conflict, grantTaken.Plain()) }

// CodeUsed is what SpendStep answers for a step that is spent.
func CodeUsed() error { return fault.New(fault.Stale, codeUsed.Plain()) }

// Missing and SessionMissing are the answers for what is not there.
func Missing() error        { return fault.New(fault.Missing, personMissing.Plain()) }
func SessionMissing() error { return fault.New(fault.Missing, sessionMissing.Plain()) }
