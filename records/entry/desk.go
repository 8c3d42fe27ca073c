// Package entry is the one way in for a record, whether it was drawn,
// imported, synced or typed: a Desk checks a batch against the rules of its
// kinds and the records it refers to, and hands what holds to the store.
package entry

import (
	"context"
	"errors"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	"caneward/records/review"
)

// BatchLimit is how many records one call takes. A phone that was a week
// without signal holds a few hundred.
const BatchLimit = 1000

// TogetherLimit is how many records one act takes: a county's parcels, a
// season's finds. Storing them holds up other writers for some seconds.
const TogetherLimit = 20_000

// PropertiesLimit bounds one record's properties in bytes as a client sends them;
// signed reviews, which this program writes, have a limit of their own.
const PropertiesLimit = 1 << 20

// Desk takes records in. The zero value lacks its Store.
type Desk struct {
	Store records.Store
}

var (
	batchTooLarge = words.New("entry-batch-too-large",
		"A batch holds at most {limit} records; this one holds {count}. Send it in parts.",
		"Un envío lleva como máximo {limit} registros; este lleva {count}. Envíelo por partes.")
	unknownKind = words.New("entry-unknown-kind",
		"There is no kind of record called “{kind}”.",
		"No hay ningún tipo de registro llamado «{kind}».")
	roleMayNot = words.New("entry-role-may-not",
		"Your role on this farm ({role}) does not write records of the kind “{kind}”. Ask the grower.",
		"Su función en esta finca ({role}) no escribe registros del tipo «{kind}». Pregunte al productor.")
	notStored = words.New("entry-not-stored",
		"This record was not stored: {count} thing(s) to mend, named below.",
		"Este registro no se guardó: {count} cosa(s) por corregir, nombradas abajo.")
	propertiesTooLarge = words.New("entry-properties-too-large",
		"The properties of one record take at most {limit} bytes; these take {count}.",
		"Las propiedades de un registro ocupan como máximo {limit} bytes; estas ocupan {count}.")
)

// Put stores a batch in order; each outcome stands alone. A write that was
// stored before is answered as it was then, even where the rules or the records
// it refers to have changed since: a phone may repeat a batch at any time. A
// record may refer to another that stands earlier in the same batch. The error
// is the batch's own: too large, no such farm, no room; then nothing is stored.
func (d *Desk) Put(ctx context.Context, farm records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	if len(writes) > BatchLimit {
		return nil, tooLarge(BatchLimit, len(writes))
	}
	return d.put(ctx, farm, writes, false)
}

// PutSigned stores a decision that this program worked out and an adviser signed,
// or the owner's acknowledgement of one: nobody else's may be a signed review.
func (d *Desk) PutSigned(ctx context.Context, farm records.FarmID, w records.Write) (records.Outcome, error) {
	outcomes, err := d.put(ctx, farm, []records.Write{w}, true)
	if err != nil {
		return records.Outcome{}, err
	}
	return outcomes[0], nil
}

func (d *Desk) put(ctx context.Context, farm records.FarmID, writes []records.Write, signing bool) ([]records.Outcome, error) {
	outcomes, good, places, err := d.sort(ctx, farm, writes, signing)
	if err != nil || len(good) == 0 {
		return outcomes, err
	}
	stored, err := d.Store.Write(ctx, farm, good)
	if err != nil {
		return nil, err
	}
	for k, o := range stored {
		outcomes[places[k]] = o
	}
	return outcomes, nil
}

// PutTogether is Put for what is one act, an import or its undoing: where one
// write is refused none is stored, and only the refused ones have an outcome.
// It takes TogetherLimit records.
func (d *Desk) PutTogether(ctx context.Context, farm records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	if len(writes) > TogetherLimit {
		return nil, tooLarge(TogetherLimit, len(writes))
	}
	outcomes, good, places, err := d.sort(ctx, farm, writes, false)
	if err != nil {
		return nil, err
	}
	if records.AnyRefused(outcomes) {
		return records.OnlyRefusals(outcomes), nil
	}
	if len(good) == 0 {
		return outcomes, nil
	}
	stored, err := d.Store.WriteTogether(ctx, farm, good)
	if err != nil {
		return nil, err
	}
	if records.AnyRefused(stored) {
		clear(outcomes)
	}
	for k, o := range stored {
		outcomes[places[k]] = o
	}
	return outcomes, nil
}

func tooLarge(limit, count int) *fault.Error {
	return fault.New(fault.TooLarge, batchTooLarge.With(words.Args{"limit": limit, "count": count}))
}

// sort answers what can be answered without storing, repeats and refusals, and
// gives what is left with its places in the batch.
func (d *Desk) sort(ctx context.Context, farm records.FarmID, writes []records.Write, signing bool) (outcomes []records.Outcome, good []records.Write, places []int, err error) {
	outcomes = make([]records.Outcome, len(writes))
	err = d.Store.View(ctx, farm, func(r records.Reader) error {
		s := newScope(r)
		s.signing = signing
		for i, w := range writes {
			if err := ctx.Err(); err != nil {
				return err
			}
			before, repeated, err := repeat(r, w)
			if err != nil {
				return err
			}
			if repeated {
				outcomes[i] = before
				continue
			}
			if err := d.check(ctx, s, w); err != nil {
				var refusal *fault.Error
				if !errors.As(err, &refusal) {
					return err
				}
				outcomes[i] = records.Outcome{Err: refusal}
				continue
			}
			s.pend(w)
			good = append(good, w)
			places = append(places, i)
		}
		return nil
	})
	return outcomes, good, places, err
}

// repeat looks for this very write among what is stored.
func repeat(r records.Reader, w records.Write) (records.Outcome, bool, error) {
	rev, err := r.At(w.Kind, w.ID, w.Base+1)
	if fault.Is(err, fault.Missing) {
		return records.Outcome{}, false, nil
	}
	if err != nil {
		return records.Outcome{}, false, err
	}
	if rev.Deleted != w.Delete {
		return records.Outcome{}, false, nil
	}
	if !w.Delete {
		sent, err := records.ContentOf(w.Record)
		if err != nil {
			// Content that has no canonical form is refused by the check below.
			return records.Outcome{}, false, nil
		}
		if kept, err := records.ContentOf(rev.Record); err != nil || !kept.Equal(sent) {
			return records.Outcome{}, false, err
		}
	}
	return records.Outcome{Revision: rev, Created: rev.Number == 1, Repeated: true}, true, nil
}

func (d *Desk) check(ctx context.Context, s *scope, w records.Write) error {
	rule, known := rules[w.Kind]
	if !known {
		return fault.New(fault.Missing, unknownKind.With(words.Args{"kind": string(w.Kind)}))
	}
	if _, err := records.ParseID(string(w.ID)); err != nil {
		return err
	}
	if !people.May(w.By.Role, people.Write, w.Kind) {
		return fault.New(fault.Forbidden, roleMayNot.With(words.Args{"role": people.RoleName(w.By.Role), "kind": string(w.Kind)}))
	}
	limit := PropertiesLimit
	if s.signing {
		limit = review.SizeLimit
	}
	if n := len(w.Record.Properties); n > limit {
		return fault.New(fault.TooLarge, propertiesTooLarge.With(words.Args{"limit": limit, "count": n}))
	}
	if w.Delete {
		// Of the other kinds anything may be closed: its revisions stay.
		if rule = deleteRules[w.Kind]; rule == nil {
			return nil
		}
	}
	details, err := rule(ctx, s, w)
	if err != nil {
		return err
	}
	if len(details) > 0 {
		return fault.New(fault.Invalid, notStored.With(words.Args{"count": len(details)}), details...)
	}
	return nil
}
