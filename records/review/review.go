// Package review is the adviser's signed decision about a block: what was found
// and where somebody looked, the settings and their answer, the list that follows
// from them and the adviser's own choice, frozen as they were. What the records
// say later never changes it; a decision is only ever followed by another one.
//
// It also says what became of it: plants taken out, looks for regrowth that are
// due, and the share of infected plants before and after.
package review

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/hotspot"
	"caneward/records/scouting"
)

// Form is the number of the rules by which a list follows from what is frozen. It
// goes up when they change; a list of another form is not worked out again.
const Form = 1

// SizeLimit bounds a signed decision in bytes: some thousand finds with all they
// say.
const SizeLimit = 6 << 20

// Plant is a plant by row and number in the row, both from 1.
type Plant = scouting.Place

// Kept is one record as it stood; the geometry is GeoJSON. Walks of visits are
// left out: what was looked at stands in the properties.
type Kept struct {
	Kind       records.Kind    `json:"kind"`
	ID         records.ID      `json:"id"`
	Revision   int             `json:"revision"`
	Geometry   json.RawMessage `json:"geometry"`
	Properties json.RawMessage `json:"properties"`
}

// Farm is what papers say of the farm.
type Farm struct {
	ID       records.FarmID `json:"id"`
	Name     string         `json:"name"`
	Zone     string         `json:"zone"`
	Invented bool           `json:"invented"`
}

// Said is what the program said beside the answer, in one language.
type Said struct {
	How       string            `json:"how"`
	WhyNoP    string            `json:"why_no_p,omitempty"`
	WhyNoList string            `json:"why_no_list,omitempty"`
	Cautions  []string          `json:"cautions"`
	Evidence  []string          `json:"evidence"` // one a group
	Advice    []string          `json:"advice"`   // one a cause
	Apart     map[string]string `json:"apart"`    // why a find belongs to no plant, by the find's id
}

// Frozen is what a decision rests on.
type Frozen struct {
	Form     int                     `json:"form"`
	Farm     Farm                    `json:"farm"`
	Sequence int64                   `json:"sequence"` // records up to here were read
	Version  string                  `json:"version"`  // of the program
	Ask      json.RawMessage         `json:"ask"`      // the question as it was put to POST .../hot-spots
	Choice   Choice                  `json:"choice"`
	Records  []Kept                  `json:"records"` // by kind and id
	Said     map[words.Language]Said `json:"said"`
}

// Signer is who signed: the account, and the name as typed under the decision.
type Signer struct {
	Person  records.PersonID `json:"person"`
	Account string           `json:"account"`
	Role    records.Role     `json:"role"`
	Name    string           `json:"name"`
}

// Acknowledgement is the owner's: seen, not agreed to.
type Acknowledgement struct {
	Signer
	At    time.Time `json:"at"`
	Words string    `json:"words,omitempty"`
}

// Signed is a decision as it stands in a record's properties.
type Signed struct {
	Block      records.ID      `json:"block"`
	Reasons    string          `json:"reasons"`
	SignedAt   time.Time       `json:"signed_at"`
	SignedBy   Signer          `json:"signed_by"`
	Supersedes records.ID      `json:"supersedes,omitempty"`
	Analysis   json.RawMessage `json:"analysis"` // hotspot.Document, English
	List       List            `json:"list"`
	Frozen     Frozen          `json:"frozen"`
	Basis      string          `json:"basis"` // see Proposal.Basis
	// Seal is the SHA-256 of all of the above in canonical form, in hexadecimal.
	Seal         string           `json:"seal"`
	Acknowledged *Acknowledgement `json:"acknowledged,omitempty"`
}

var (
	notADecision = words.New("review-not-a-decision", "This is no signed decision.", "Esto no es una decisión firmada.")
	sealBroken   = words.New("review-seal-broken",
		"The signed decision is not what was signed: its seal does not fit its content.",
		"La decisión firmada no es la que se firmó: su sello no concuerda con su contenido.")
	tooLarge = words.New("review-too-large",
		"The records of this block take {count} bytes; a decision freezes at most {limit}. The block has more finds and visits than one decision can carry.",
		"Los registros de este bloque ocupan {count} bytes; una decisión congela como máximo {limit}. El bloque tiene más hallazgos y visitas de los que caben en una decisión.")
)

// IsSigned reports whether properties claim to be a signed decision: any of the
// members that only a signature makes.
func IsSigned(properties json.RawMessage) bool {
	var members map[string]json.RawMessage
	if json.Unmarshal(properties, &members) != nil {
		return false
	}
	for _, name := range []string{"signed_at", "signed_by", "frozen", "basis", "seal", "acknowledged"} {
		if raw := members[name]; raw != nil && string(raw) != "null" {
			return true
		}
	}
	return false
}

// Read reads a signed decision. fault.Invalid where it is none.
func Read(properties json.RawMessage) (Signed, error) {
	var s Signed
	if err := json.Unmarshal(properties, &s); err != nil || s.Seal == "" || s.SignedAt.IsZero() {
		return Signed{}, fault.Wrap(fault.Invalid, err, notADecision.Plain())
	}
	return s, nil
}

// Document is the frozen answer.
func (s Signed) Document() (d hotspot.Document, err error) {
	err = json.Unmarshal(s.Analysis, &d)
	return d, err
}

// Sealed gives the properties of a decision with its seal. fault.TooLarge over
// SizeLimit.
func (s Signed) Sealed() (json.RawMessage, error) {
	s.Seal, s.Acknowledged = "", nil
	raw, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	if len(raw) > SizeLimit {
		return nil, fault.New(fault.TooLarge, tooLarge.With(words.Args{"limit": SizeLimit, "count": len(raw)}))
	}
	if s.Seal, err = sealOf(raw); err != nil {
		return nil, err
	}
	raw, err = json.Marshal(s)
	if err != nil {
		return nil, err
	}
	return wire.Canonical(raw)
}

// Acknowledge adds the owner's acknowledgement; everything else stays as it is,
// byte for byte.
func Acknowledge(properties json.RawMessage, a Acknowledgement) (json.RawMessage, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(properties, &members); err != nil {
		return nil, fault.Wrap(fault.Invalid, err, notADecision.Plain())
	}
	raw, err := json.Marshal(a)
	if err != nil {
		return nil, err
	}
	members = maps.Clone(members)
	members["acknowledged"] = raw
	if raw, err = json.Marshal(members); err != nil {
		return nil, err
	}
	return wire.Canonical(raw)
}

// sealOf hashes properties in canonical form without seal and acknowledgement.
func sealOf(properties json.RawMessage) (string, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(properties, &members); err != nil {
		return "", err
	}
	delete(members, "seal")
	delete(members, "acknowledged")
	raw, err := json.Marshal(members)
	if err != nil {
		return "", err
	}
	return digest(raw)
}

func digest(raw json.RawMessage) (string, error) {
	canonical, err := wire.Canonical(raw)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:]), nil
}

// CheckSeal tells whether the content is what was sealed: fault.Invalid where it
// is not.
func CheckSeal(properties json.RawMessage) error {
	s, err := Read(properties)
	if err != nil {
		return err
	}
	again, err := sealOf(properties)
	if err != nil {
		return err
	}
	if again != s.Seal {
		return fault.New(fault.Invalid, sealBroken.Plain())
	}
	return nil
}
