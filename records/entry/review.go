package entry

import (
	"context"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	"caneward/records/review"
	"caneward/records/scouting"
)

var (
	signedElsewhere = words.New("entry-signed-elsewhere",
		"A decision is signed at the farm's address reviews, where the server works the list out itself. Here only drafts are kept, without signed_at, signed_by, frozen, basis, seal and acknowledged.",
		"Una decisión se firma en la dirección reviews de la finca, donde el servidor calcula él mismo la lista. Aquí solo se guardan borradores, sin signed_at, signed_by, frozen, basis, seal ni acknowledged.")
	signedStays = words.New("entry-signed-stays",
		"A signed decision stays as it is. Sign a new one that supersedes it.",
		"Una decisión firmada queda como está. Firme una nueva que la sustituya.")
	onlyAdviserSigns = words.New("entry-only-adviser-signs",
		"Only an adviser signs a decision.",
		"Solo un asesor firma una decisión.")
	onlyOwnerAcknowledges = words.New("entry-only-owner-acknowledges",
		"Only the farm's owner acknowledges a decision.",
		"Solo el dueño de la finca acusa recibo de una decisión.")
	supersedesWhat = words.New("entry-supersedes-what",
		"This names no signed decision about the same block.",
		"Esto no nombra ninguna decisión firmada sobre el mismo bloque.")
	supersededAlready = words.New("entry-superseded-already",
		"That decision is superseded already, by {id}.",
		"Esa decisión ya está sustituida, por {id}.")
	carriesOut = words.New("entry-carries-out",
		"Your role ({role}) takes plants out only where an adviser's signed list says so. Name the decision in “review”.",
		"Su función ({role}) quita plantas solo donde lo dice la lista firmada de un asesor. Nombre la decisión en «review».")
	notOnList = words.New("entry-not-on-list",
		"Row {row}, plant {plant} is not on the signed list.",
		"La hilera {row}, planta {plant} no está en la lista firmada.")
	otherBlock = words.New("entry-review-of-another-block",
		"That decision is about another block.",
		"Esa decisión es sobre otro bloque.")
	plantsStay = words.New("entry-removal-plants-stay",
		"Which plants were taken out and under which decision stays as it was recorded; only an adviser or the owner corrects it.",
		"Qué plantas se quitaron y con qué decisión queda como se registró; solo un asesor o el dueño lo corrige.")
)

// reviewRule lets drafts through as people write them, and signed decisions only
// as this program made them.
func reviewRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	parsed, details := scouting.ParseReview(w.Record.Geometry, w.Record.Properties)
	if len(details) > 0 {
		return details, nil
	}
	if more, err := refer(s, "block", records.Blocks, parsed.Block); err != nil || more != nil {
		return more, err
	}
	before, found, err := s.record(records.Reviews, w.ID)
	if err != nil {
		return nil, err
	}
	was, is := found && review.IsSigned(before.Properties), review.IsSigned(w.Record.Properties)
	switch {
	case was && !s.signing:
		return []fault.Detail{{Text: signedStays.Plain()}}, nil
	case !is:
		return nil, nil
	case !s.signing:
		return []fault.Detail{{Field: "signed_at", Text: signedElsewhere.Plain()}}, nil
	case was:
		return acknowledges(before, w)
	}
	return signs(s, w)
}

// signs checks a decision being signed.
func signs(s *scope, w records.Write) ([]fault.Detail, error) {
	if w.By.Role != records.Adviser {
		return nil, fault.New(fault.Forbidden, onlyAdviserSigns.Plain())
	}
	if err := review.CheckSeal(w.Record.Properties); err != nil {
		return nil, err
	}
	signed, err := review.Read(w.Record.Properties)
	if err != nil || signed.Supersedes == "" {
		return nil, err
	}
	old, found, err := s.signed(signed.Supersedes)
	if err != nil {
		return nil, err
	}
	if !found || old.Block != signed.Block {
		return []fault.Detail{{Field: "supersedes", Text: supersedesWhat.Plain()}}, nil
	}
	var details []fault.Detail
	err = s.each(records.Reviews, records.Query{Equal: map[string]string{"supersedes": string(signed.Supersedes)}}, func(id records.ID, _ records.Record) error {
		if id != w.ID {
			details = []fault.Detail{{Field: "supersedes", Text: supersededAlready.With(words.Args{"id": string(id)})}}
		}
		return nil
	})
	return details, err
}

// acknowledges lets the owner add an acknowledgement, once, and nothing else.
func acknowledges(before records.Record, w records.Write) ([]fault.Detail, error) {
	if w.By.Role != records.Owner {
		return nil, fault.New(fault.Forbidden, onlyOwnerAcknowledges.Plain())
	}
	old, err := review.Read(before.Properties)
	if err != nil {
		return nil, err
	}
	if err := review.CheckSeal(w.Record.Properties); err != nil {
		return nil, err
	}
	now, err := review.Read(w.Record.Properties)
	if err != nil {
		return nil, err
	}
	if old.Seal != now.Seal || old.Acknowledged != nil || now.Acknowledged == nil {
		return []fault.Detail{{Text: signedStays.Plain()}}, nil
	}
	return nil, nil
}

// signed is a signed decision by id; false where there is none.
func (s *scope) signed(id records.ID) (review.Signed, bool, error) {
	rec, found, err := s.record(records.Reviews, id)
	if err != nil || !found || !review.IsSigned(rec.Properties) {
		return review.Signed{}, false, err
	}
	signed, err := review.Read(rec.Properties)
	return signed, err == nil, err
}

func reviewDeleteRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	_, signed, err := s.signed(w.ID)
	if err != nil || !signed {
		return nil, err
	}
	return []fault.Detail{{Text: signedStays.Plain()}}, nil
}

func removalRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	removal, details := scouting.ParseRemoval(w.Record.Geometry, w.Record.Properties)
	more, err := refer(s, "review", records.Reviews, removal.Review)
	if err != nil {
		return nil, err
	}
	details = append(details, more...)
	if more, err = refer(s, "block", records.Blocks, removal.Block); err != nil || more != nil {
		return append(details, more...), err
	}
	g, found, err := s.ground(removal.Block)
	if err != nil || !found {
		return details, err
	}
	before, known, err := removalBefore(s, w.ID)
	if err != nil {
		return nil, err
	}
	if more, err = s.onList(removal, before, known, w.By.Role); err != nil {
		return nil, err
	}
	details = append(details, more...)
	for _, p := range removal.Plants {
		if slices.Contains(before.Plants, p) {
			continue // written while the plant had its place
		}
		details = append(details, scouting.Check(scouting.Find{Row: p.Row, Plant: p.Plant}, g.rowPlants())...)
	}
	return details, nil
}

// decides is whether a role may have plants taken out on its own word.
func decides(role records.Role) bool { return role == records.Adviser || role == records.Owner }

// onList holds a removal to the signed list it names; who carries out must name
// one, and leaves plants and list as recorded.
func (s *scope) onList(m, before scouting.Removal, known bool, role records.Role) ([]fault.Detail, error) {
	signed, found, err := s.signed(m.Review)
	if err != nil {
		return nil, err
	}
	switch {
	case !decides(role) && known:
		if m.Review != before.Review || m.Block != before.Block || !slices.Equal(m.Plants, before.Plants) {
			return []fault.Detail{{Field: "plants", Text: plantsStay.Plain()}}, nil
		}
		return nil, nil
	case !found && !decides(role):
		return nil, fault.New(fault.Forbidden, carriesOut.With(words.Args{"role": people.RoleName(role)}), fault.Detail{Field: "review", Text: carriesOut.With(words.Args{"role": people.RoleName(role)})})
	case !found:
		return nil, nil
	case signed.Block != m.Block:
		return []fault.Detail{{Field: "review", Text: otherBlock.Plain()}}, nil
	}
	listed := map[scouting.Place]bool{}
	for _, t := range signed.List.Remove {
		listed[t.Place()] = true
	}
	var details []fault.Detail
	for _, p := range m.Plants {
		if !listed[p] && !slices.Contains(before.Plants, p) {
			details = append(details, fault.Detail{Field: "plants", Text: notOnList.With(words.Args{"row": p.Row, "plant": p.Plant})})
		}
	}
	return details, nil
}

func removalBefore(s *scope, id records.ID) (scouting.Removal, bool, error) {
	rec, found, err := s.record(records.Removals, id)
	if err != nil || !found {
		return scouting.Removal{}, false, err
	}
	before, _ := scouting.ParseRemoval(rec.Geometry, rec.Properties)
	return before, true, nil
}

// removalDeleteRule: who carries a list out may take back what was ticked off it.
func removalDeleteRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	if decides(w.By.Role) {
		return nil, nil
	}
	before, known, err := removalBefore(s, w.ID)
	if err != nil || !known {
		return nil, err
	}
	if _, signed, err := s.signed(before.Review); err != nil || signed {
		return nil, err
	}
	return nil, fault.New(fault.Forbidden, carriesOut.With(words.Args{"role": people.RoleName(w.By.Role)}))
}
