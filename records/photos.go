package records

import (
	"bytes"
	"context"
	"crypto/sha256"
	"image"
	_ "image/jpeg" // the pictures phones and scanners make
	_ "image/png"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Photo is a picture that records of a farm name in their property photos. It
// is never changed and never removed; a record may arrive before its photo.
type Photo struct {
	ID   ID
	Type string // its media type, one of PhotoTypes
	Data []byte // at most PhotoLimit
	By   Author
	At   time.Time // when the server took it, UTC, whole microseconds
}

// Bounds of one photo. Phones make them smaller before they are queued: 1,600
// pixels across are enough to tell one rust from another on a leaf, and take
// some 300 kB.
const (
	PhotoLimit  = 2 << 20 // bytes
	PhotoPixels = 24_000_000
)

// PhotoTypes are the media types taken.
var PhotoTypes = []string{"image/jpeg", "image/png", "image/webp"}

// Photos keeps pictures. Every Store does.
type Photos interface {
	// PutPhoto keeps a picture that passed Check. The same id with the same
	// bytes again is no fault and not created; with others fault.Conflict.
	// fault.Missing when there is no such farm, fault.Full without room. When it
	// returns nil the picture survives loss of power.
	PutPhoto(ctx context.Context, farm FarmID, p Photo) (created bool, err error)
	// Photo gives a picture; fault.Missing.
	Photo(ctx context.Context, farm FarmID, id ID) (Photo, error)
	// EachPhoto gives all of a farm's by id, until f returns an error, which is
	// returned as it is.
	EachPhoto(ctx context.Context, farm FarmID, f func(Photo) error) error
}

var (
	photoTooLarge = words.New("records-photo-too-large", "A photo may have at most {limit} bytes.", "Una foto puede tener como máximo {limit} bytes.")
	photoTooWide  = words.New("records-photo-too-wide", "A photo may have at most {limit} million pixels.", "Una foto puede tener como máximo {limit} millones de píxeles.")
	photoNoImage  = words.New("records-photo-no-image", "This is no {type} picture that can be read.", "Esto no es una imagen {type} que se pueda leer.")
	photoOther    = words.New("records-photo-other", "There is another photo under this id.", "Hay otra foto con este id.")
	noPhoto       = words.New("records-no-photo", "There is no such photo.", "No existe esa foto.")
)

// Check says whether a picture can be kept: its id, size, and that its head is
// what its type says. The error is a *fault.Error.
func (p Photo) Check() error {
	if _, err := ParseID(string(p.ID)); err != nil {
		return err
	}
	if len(p.Data) > PhotoLimit {
		return fault.New(fault.TooLarge, photoTooLarge.With(words.Args{"limit": PhotoLimit}))
	}
	noImage := func(err error) error {
		return fault.Wrap(fault.Invalid, err, photoNoImage.With(words.Args{"type": p.Type}))
	}
	if p.Type == "image/webp" {
		// The container alone is looked at: RFC 9649 section 2.4.
		if len(p.Data) < 30 || string(p.Data[:4]) != "RIFF" || string(p.Data[8:12]) != "WEBP" {
			return noImage(nil)
		}
		return nil
	}
	config, format, err := image.DecodeConfig(bytes.NewReader(p.Data))
	if err != nil || "image/"+format != p.Type {
		return noImage(err)
	}
	if config.Width*config.Height > PhotoPixels {
		return fault.New(fault.TooLarge, photoTooWide.With(words.Args{"limit": PhotoPixels / 1_000_000}))
	}
	return nil
}

// Sum is the SHA-256 of the picture.
func (p Photo) Sum() [32]byte { return sha256.Sum256(p.Data) }

// Seal is the SHA-256 over all that is kept of the picture, its parts written
// as those of Link.
func (p Photo) Seal() [32]byte {
	h := sha256.New()
	sum := p.Sum()
	part(h, []byte("caneward photo 1"))
	part(h, []byte(p.ID))
	part(h, []byte(p.Type))
	part(h, []byte(p.By.Person))
	part(h, []byte(p.By.Name))
	part(h, []byte(p.By.Role))
	number(h, p.At.UnixMicro())
	part(h, sum[:])
	return [32]byte(h.Sum(nil))
}

// PhotoTaken is what PutPhoto answers when another picture has the id.
func PhotoTaken() error { return fault.New(fault.Conflict, photoOther.Plain()) }

// PhotoMissing is what stores answer for a picture that is not there.
func PhotoMissing() error { return fault.New(fault.Missing, noPhoto.Plain()) }
