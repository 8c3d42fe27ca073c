package people

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
)

// Limits narrow what one member sees of a farm. The zero value is the whole
// farm. Blocks are ids of blocks; Seasons are calendar years in the farm's
// zone.
type Limits struct {
	Blocks  []records.ID `json:"blocks,omitempty"`
	Seasons []int        `json:"seasons,omitempty"`
}

// Bounds of Limits: more blocks than a county's largest farm has, and every
// season since records were kept by hand.
const (
	limitsBlocks  = 1000
	limitsSeasons = 100
	firstSeason   = 1900
	lastSeason    = 2200
)

var (
	limitsOwner = words.New("people-limits-owner",
		"An owner sees the whole farm; give another role to limit somebody.",
		"Un dueño ve toda la finca; asigne otra función para limitar a alguien.")
	limitsForm = words.New("people-limits-form",
		"Blocks are ids of blocks, at most {blocks}; seasons are years, at most {seasons}.",
		"Los bloques son identificadores de bloques, como máximo {blocks}; las temporadas son años, como máximo {seasons}.")
)

// None reports whether nothing is limited.
func (l Limits) None() bool { return len(l.Blocks) == 0 && len(l.Seasons) == 0 }

// Normal gives the limits sorted and without repeats.
func (l Limits) Normal() Limits {
	var n Limits
	n.Blocks = slices.Compact(slices.Sorted(slices.Values(l.Blocks)))
	n.Seasons = slices.Compact(slices.Sorted(slices.Values(l.Seasons)))
	return n
}

// Key is equal for equal limits and empty for none.
func (l Limits) Key() string {
	if l.None() {
		return ""
	}
	l = l.Normal()
	var b strings.Builder
	for _, id := range l.Blocks {
		b.WriteString(string(id) + " ")
	}
	b.WriteByte('/')
	for _, y := range l.Seasons {
		b.WriteString(strconv.Itoa(y) + " ")
	}
	return b.String()
}

// Check refuses limits that are none. fault.Invalid.
func (l Limits) Check() error {
	good := len(l.Blocks) <= limitsBlocks && len(l.Seasons) <= limitsSeasons
	for _, id := range l.Blocks {
		_, err := records.ParseID(string(id))
		good = good && err == nil
	}
	for _, y := range l.Seasons {
		good = good && y >= firstSeason && y <= lastSeason
	}
	if good {
		return nil
	}
	text := limitsForm.With(words.Args{"blocks": limitsBlocks, "seasons": limitsSeasons})
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "limits"})
}

// ParseLimits reads what Limits.Text wrote.
func ParseLimits(text string) (l Limits, err error) {
	if text == "" {
		return l, nil
	}
	err = json.Unmarshal([]byte(text), &l)
	return l, err
}

// Text is the form stores keep; empty for no limits.
func (l Limits) Text() string {
	if l.None() {
		return ""
	}
	data, err := json.Marshal(l.Normal())
	if err != nil {
		panic(err) // texts and numbers
	}
	return string(data)
}

// Purpose is what a grant is for; the set is closed.
type Purpose string

// The purposes.
const (
	Invitation Purpose = "invitation" // onto a farm, used once
	Reset      Purpose = "reset"      // of one person's password, used once
	Token      Purpose = "token"      // a person's rights on one farm, for a program
)

// Grant is a secret somebody was handed: the link of an invitation, the link
// that sets a new password, a token for a program. The secret itself is shown
// once and kept nowhere.
type Grant struct {
	ID      string   // a UUID of version 7, which names it in addresses
	Hash    [32]byte // TokenHash of the secret
	Purpose Purpose
	Farm    records.FarmID
	// Person is whose password or whose rights; on an invitation who accepted it.
	Person records.PersonID
	By     records.PersonID // who made it
	Name   string           // what or whom it is for, as typed
	Role   records.Role     // of an invitation
	Limits Limits           // of an invitation
	Writes bool             // of a token: it may write too
	// Created, Expires, Used and Ended are whole microseconds; Used is when a
	// link was used, or a token last; Ended when it was taken back.
	Created, Expires, Used, Ended time.Time
}

// GrantNameMost is the longest name of a grant, in characters.
const GrantNameMost = 80

var grantMissing = words.New("people-grant-missing",
	"This link or token is not known here, was used, was taken back, or has expired.",
	"Este enlace o clave no se conoce aquí, ya se usó, fue retirado o venció.")

// GrantMissing is the answer for every grant that cannot be used: which of the
// reasons it is stays unsaid.
func GrantMissing() error { return fault.New(fault.Missing, grantMissing.Plain()) }

// Usable reports whether a grant can be used at a moment.
func (g Grant) Usable(now time.Time) bool {
	spent := g.Purpose != Token && !g.Used.IsZero()
	return g.Ended.IsZero() && !spent && now.Before(g.Expires)
}

// SecondFactor is a person's time-based code. Secret is sealed by the server's
// key; the store does not read it.
type SecondFactor struct {
	Secret   []byte
	On       bool     // the person has shown a code of it
	Step     int64    // of the last code that was used
	Recovery []string // hashes of the codes that are left, hexadecimal
}

var secondMissing = words.New("people-second-factor-missing",
	"No second factor is set up for this sign-in.",
	"No hay un segundo factor configurado para este acceso.")

// SecondFactorMissing is the answer where none was set up.
func SecondFactorMissing() error { return fault.New(fault.Missing, secondMissing.Plain()) }

// Sees reports whether a block is among those that are not hidden.
func (l Limits) Sees(block records.ID) bool {
	return len(l.Blocks) == 0 || slices.Contains(l.Blocks, block)
}
