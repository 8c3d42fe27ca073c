package review

import (
	"context"
	"encoding/json"
	"errors"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
)

var listDiffers = words.New("review-list-differs",
	"The signed list does not follow from the records and settings frozen beside it.",
	"La lista firmada no se desprende de los registros y ajustes congelados a su lado.")

// Recheck looks at every signed decision of a farm: whether its seal fits, and
// whether its list still follows from what is frozen with it. The reshuffles are
// not run again, for the list does not hang on them. A records.Check.
func Recheck(ctx context.Context, r records.Reader) ([]records.Problem, error) {
	page, err := r.List(records.Reviews, records.Query{})
	if err != nil {
		return nil, err
	}
	var problems []records.Problem
	for _, rev := range page.Revisions {
		if !IsSigned(rev.Record.Properties) {
			continue
		}
		err := Verify(ctx, rev.Record.Properties)
		var refusal *fault.Error
		switch {
		case err == nil:
		case errors.As(err, &refusal):
			problems = append(problems, records.Problem{Farm: r.Farm().ID, Kind: rev.Kind, ID: rev.ID, Number: rev.Number, Sequence: rev.Sequence, Text: refusal.Text})
		default:
			return nil, err
		}
	}
	return problems, nil
}

// Verify is Recheck for one decision's properties: a *fault.Error where something
// does not hold, else the context's error.
func Verify(ctx context.Context, properties json.RawMessage) error {
	if err := CheckSeal(properties); err != nil {
		return err
	}
	s, err := Read(properties)
	if err != nil || s.Frozen.Form != Form {
		return err
	}
	request, err := Question{Ask: s.Frozen.Ask}.Request()
	if err != nil {
		return err
	}
	none := 0
	request.Scan.Replicates = &none
	f := s.Frozen.Farm
	h, err := hold(records.Farm{ID: f.ID, Name: f.Name, Zone: f.Zone, Invented: f.Invented}, s.Frozen.Sequence, s.Frozen.Records)
	if err != nil {
		return err
	}
	p, err := workOut(ctx, h, request, s.Frozen.Choice)
	if err != nil {
		return err
	}
	same, err := equalList(p.List, s.List)
	if err == nil && !same {
		err = fault.New(fault.Invalid, listDiffers.Plain())
	}
	return err
}

func equalList(a, b List) (bool, error) {
	var sides [2]string
	for i, l := range []List{a, b} {
		raw, err := json.Marshal(l)
		if err != nil {
			return false, err
		}
		if raw, err = wire.Canonical(raw); err != nil {
			return false, err
		}
		sides[i] = string(raw)
	}
	return sides[0] == sides[1], nil
}
