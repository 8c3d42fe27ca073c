package sqlite

import (
	"context"
	"database/sql/driver"
	"fmt"
	"path/filepath"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Report is what Verify found.
type Report struct {
	Farms     int
	Revisions int
	Records   int // not deleted
	Problems  []records.Problem
	More      bool // there were more problems than are listed
}

// problemsLimit is how many problems a report lists: a damaged file has as many
// as rows.
const problemsLimit = 100

var (
	structureBroken = words.New("sqlite-structure-broken",
		"The file's structure is broken: {what}",
		"La estructura del archivo está rota: {what}")
	referenceBroken = words.New("sqlite-reference-broken",
		"Row {row} of {table} refers to something in {parent} that is not there.",
		"La fila {row} de {table} se refiere a algo de {parent} que no existe.")
	hashBroken = words.New("sqlite-hash-broken",
		"This revision is not what was stored: its hash does not fit its content and the revision before it.",
		"Esta revisión no es la que se guardó: su huella no concuerda con su contenido y con la revisión anterior.")
	contentUnreadable = words.New("sqlite-content-unreadable",
		"This revision's shape cannot be read: {what}",
		"No se puede leer la forma de esta revisión: {what}")
	sequenceGap = words.New("sqlite-sequence-gap",
		"Sequence {want} should stand here; revisions are missing or doubled.",
		"Aquí debería estar la secuencia {want}; faltan revisiones o están repetidas.")
	numberGap = words.New("sqlite-number-gap",
		"Revision {want} should stand here; revisions of this record are missing or out of order.",
		"Aquí debería estar la revisión {want}; faltan revisiones de este registro o están desordenadas.")
	headWrong = words.New("sqlite-head-wrong",
		"The farm's newest sequence or hash is not that of its newest revision.",
		"La secuencia o la huella más nueva de la finca no es la de su revisión más nueva.")
	currentWrong = words.New("sqlite-current-wrong",
		"The list of current records does not say what the newest revision says.",
		"La lista de registros actuales no dice lo que dice la revisión más nueva.")
	placeWrong = words.New("sqlite-place-wrong",
		"The index of places does not hold this record where its shape is.",
		"El índice de lugares no tiene este registro donde está su forma.")
	leftOver = words.New("sqlite-left-over",
		"{table} holds {got} rows where the revisions ask for {want}.",
		"{table} tiene {got} filas y las revisiones piden {want}.")
)

// Verify reads everything in a folder, which a server may be serving, as of
// one moment: the file's structure, references between tables, every hash
// recomputed from the stored bytes, sequences and revision numbers without
// gaps, and everything that follows from the revisions recomputed. Then each
// check is given each farm. What is wrong stands in the report; the error means
// that Verify could not do its work. fault.Missing when there are no records.
func Verify(ctx context.Context, dir string, checks ...records.Check) (Report, error) {
	path := filepath.Join(dir, FileName)
	if err := mustExist(dir, path); err != nil {
		return Report{}, err
	}
	return verifyFile(ctx, path, checks)
}

func verifyFile(ctx context.Context, path string, checks []records.Check) (report Report, err error) {
	v := &verifier{ctx: ctx, report: &report}
	defer func() {
		if isDamage(err) && fault.Is(err, fault.Internal) {
			v.found(records.Problem{Text: structureBroken.With(words.Args{"what": err.Error()})})
			err = nil
		}
	}()
	if err := checkCurrent(ctx, path); err != nil {
		return report, err
	}
	if v.conn, err = dial(path, reading); err != nil {
		return report, err
	}
	defer v.conn.close()
	if err := v.conn.exec("BEGIN"); err != nil {
		return report, err
	}
	for _, step := range []func() error{v.structure, v.references, v.farms, v.documents, v.photos, v.extras} {
		if err := step(); err != nil {
			return report, err
		}
	}
	for _, f := range v.all {
		if err := v.hooks(f, checks); err != nil {
			return report, err
		}
	}
	return report, nil
}

type verifier struct {
	ctx    context.Context
	conn   *conn
	report *Report
	all    []records.FarmID
	shapes int // current records with a box
	known  int // current rows there should be
}

func (v *verifier) found(p records.Problem) {
	if len(v.report.Problems) < problemsLimit {
		v.report.Problems = append(v.report.Problems, p)
	} else {
		v.report.More = true
	}
}

func (v *verifier) structure() error { return v.pragma("integrity_check") }

func (v *verifier) pragma(check string) error {
	return v.conn.rows(v.ctx, fmt.Sprintf(`PRAGMA %s(%d)`, check, problemsLimit), nil, func(row []driver.Value) error {
		if what := text(row[0]); what != "ok" {
			v.found(records.Problem{Text: structureBroken.With(words.Args{"what": what})})
		}
		return nil
	})
}

func (v *verifier) references() error {
	return v.conn.rows(v.ctx, `PRAGMA foreign_key_check`, nil, func(row []driver.Value) error {
		v.found(records.Problem{Text: referenceBroken.With(words.Args{"table": text(row[0]), "row": fmt.Sprint(row[1]), "parent": text(row[2])})})
		return nil
	})
}

func (v *verifier) farms() error {
	all, err := v.listFarms()
	if err != nil {
		return err
	}
	for _, f := range all {
		v.report.Farms++
		v.all = append(v.all, f.ID)
		sequence, head, err := v.chainFrom(f, 0)
		if err != nil {
			return err
		}
		v.head(f, sequence, head)
		if err := v.histories(f.ID, f.number); err != nil {
			return err
		}
	}
	return nil
}

// keptFarm is a farm's row as Verify looks at it.
type keptFarm struct {
	records.Farm
	number, sequence int64
	noted            []byte // the newest revision's hash
}

// listFarms leaves out those on their way in or out.
func (v *verifier) listFarms() (all []keptFarm, err error) {
	err = v.conn.rows(v.ctx, `SELECT `+farmColumns+`, head FROM farms WHERE id NOT LIKE '~%' ORDER BY id`, nil, func(row []driver.Value) error {
		all = append(all, keptFarm{readFarm(row), integer(row[5]), integer(row[6]), bytes(row[farmWidth])})
		return nil
	})
	return all, err
}

func (v *verifier) head(f keptFarm, sequence int64, head [32]byte) {
	if sequence != f.sequence || sequence > 0 && string(head[:]) != string(f.noted) {
		v.found(records.Problem{Farm: f.ID, Text: headWrong.Plain()})
	}
}

func place(farm records.FarmID, r records.Revision, text words.Text) records.Problem {
	return records.Problem{Farm: farm, Kind: r.Kind, ID: r.ID, Number: r.Number, Sequence: r.Sequence, Text: text}
}

// chainFrom recomputes each hash after a sequence number over the stored hash
// of the revision before, so that one changed revision is one problem.
func (v *verifier) chainFrom(f keptFarm, after int64) (sequence int64, head [32]byte, err error) {
	farm := f.ID
	before, err := v.conn.row(v.ctx, `SELECT hash FROM revisions WHERE farm = ? AND sequence = ?`, f.number, after)
	if err != nil {
		return 0, head, err
	}
	if sequence = after; before != nil {
		copy(head[:], bytes(before[0]))
	}
	err = v.conn.rows(v.ctx, `SELECT `+revisionColumns+` FROM revisions r WHERE r.farm = ? AND r.sequence > ? ORDER BY r.sequence`, []driver.Value{f.number, after}, func(row []driver.Value) error {
		v.report.Revisions++
		r, unreadable := readRevision(row)
		if unreadable != nil {
			v.found(place(farm, r, contentUnreadable.With(words.Args{"what": unreadable.Error()})))
		}
		if r.Sequence != sequence+1 {
			v.found(place(farm, r, sequenceGap.With(words.Args{"want": sequence + 1})))
		}
		content := records.Content{Shape: bytes(row[10]), Properties: []byte(text(row[11]))}
		if records.Link(head, f.ChainID(), r, content) != r.Hash || integer(row[4]) != flag(r.Deleted) {
			v.found(place(farm, r, hashBroken.Plain()))
		}
		sequence, head = r.Sequence, r.Hash
		return nil
	})
	return sequence, head, err
}

// histories reads a farm record by record, compares each one's newest revision
// with its row in current and in the R*Tree.
func (v *verifier) histories(farm records.FarmID, number int64) error {
	var last []driver.Value
	finish := func() error {
		if last == nil {
			return nil
		}
		return v.newest(farm, number, last)
	}
	want, previous := 1, records.Revision{}
	err := v.conn.rows(v.ctx, `SELECT `+revisionColumns+`, r.row,
			c.revision, c.number, c.deleted, c.west, c.south, c.east, c.north, c.from_us, c.to_us, c.block
		FROM revisions r LEFT JOIN current c ON c.farm = r.farm AND c.kind = r.kind AND c.id = r.id
		WHERE r.farm = ? ORDER BY r.kind, r.id, r.number`, []driver.Value{number}, func(row []driver.Value) error {
		r, _ := readRevision(row)
		if r.Kind != previous.Kind || r.ID != previous.ID {
			if err := finish(); err != nil {
				return err
			}
			want, previous = 1, records.Revision{}
		}
		if r.Number != want || r.Sequence <= previous.Sequence {
			v.found(place(farm, r, numberGap.With(words.Args{"want": want})))
		}
		want, previous = r.Number+1, r
		last = append(last[:0], row...)
		return nil
	})
	if err != nil {
		return err
	}
	return finish()
}

func (v *verifier) newest(farm records.FarmID, number int64, row []driver.Value) error {
	r, _ := readRevision(row)
	v.known++
	var facets records.Facets
	if !r.Deleted {
		v.report.Records++
		facets = records.FacetsOf(r.Kind, r.Record)
	}
	c := currentOf(facets)
	want := []driver.Value{row[13], int64(r.Number), flag(r.Deleted), c.west, c.south, c.east, c.north, c.from, c.to, c.block}
	if fmt.Sprint(want) != fmt.Sprint(row[14:]) {
		v.found(place(farm, r, currentWrong.Plain()))
	}
	if facets.Box == nil {
		return nil
	}
	v.shapes++
	held, err := v.conn.row(v.ctx, `SELECT west, east, south, north, shelf_from, shelf_to FROM places WHERE revision = ?`, row[13])
	if err != nil {
		return err
	}
	if held == nil || !holds(held, *facets.Box, shelf(number, kindNumber(r.Kind))) {
		v.found(place(farm, r, placeWrong.Plain()))
	}
	return nil
}

// widening is how far the R*Tree's 32-bit boxes may stand off: two steps of a
// 32-bit number at 180 degrees (2^-16 each).
const widening = 2 * 0x1p-16

func holds(row []driver.Value, box geo.Box, shelf int64) bool {
	var n [6]float64
	for i := range n {
		n[i], _ = row[i].(float64)
	}
	near := func(outer, inner float64) bool { return outer <= inner && inner-outer <= widening }
	return near(n[0], box.Min[0]) && near(-n[1], -box.Max[0]) && near(n[2], box.Min[1]) && near(-n[3], -box.Max[1]) &&
		n[4] <= float64(shelf) && n[5] >= float64(shelf+1)
}

// extras finds rows that no revision asks for.
func (v *verifier) extras() error {
	const held = ` WHERE farm IN (SELECT number FROM farms WHERE id NOT LIKE '~%')`
	for _, e := range []struct {
		table, query string
		want         int
	}{
		{"current", `SELECT count(*) FROM current` + held, v.known},
		// Places know no farm; those of farms on their way out are taken off.
		{"places", `SELECT (SELECT count(*) FROM places) - (SELECT count(*) FROM current c JOIN places p ON p.revision = c.revision
			JOIN farms f ON f.number = c.farm WHERE f.id LIKE '~%')`, v.shapes},
		{"revisions", `SELECT count(*) FROM revisions` + held, v.report.Revisions},
	} {
		got, err := v.conn.number(v.ctx, e.query)
		if err != nil {
			return err
		}
		if int(got) != e.want {
			v.found(records.Problem{Text: leftOver.With(words.Args{"table": e.table, "got": got, "want": e.want})})
		}
	}
	return nil
}

func (v *verifier) hooks(farm records.FarmID, checks []records.Check) error {
	if len(checks) == 0 {
		return nil
	}
	r, err := newReader(v.ctx, v.conn, farm)
	if err != nil {
		return err
	}
	for _, check := range checks {
		problems, err := check(v.ctx, r)
		if err != nil {
			return err
		}
		for _, p := range problems {
			v.found(p)
		}
	}
	return nil
}
