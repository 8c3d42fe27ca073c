package sheet

import (
	"encoding/json"
	"strconv"
	"strings"

	"caneward/blocks/when"
	"caneward/geo/wire"
	"caneward/geo/wire/table"
)

// isOwn reports whether a header is that of package table, whatever columns
// somebody took out or moved.
func isOwn(header []string) bool {
	shape, properties := false, false
	for _, h := range header {
		shape = shape || h == table.Shape
		properties = properties || h == table.Properties
	}
	return shape && properties
}

// ownRow reads a row that package table wrote: the column properties holds the
// record with its types, and a single column counts where it says something
// else, as somebody has edited it then.
func (s *Source) ownRow(r row, f *wire.Feature) error {
	var members []wire.Member
	values := map[string]json.RawMessage{}
	for i, name := range s.header {
		if name != table.Properties || i >= len(r.cells) || blank(r.cells[i]) {
			continue
		}
		var err error
		if members, err = table.Members(json.RawMessage(r.cells[i])); err != nil {
			return s.broken(r, RuleProperties, r.cells[i], err)
		}
		// A blank object and a blank cell are different things.
		f.Properties = json.RawMessage("{}")
	}
	for _, m := range members {
		values[m.Name] = m.Value
	}
	for i, cell := range r.cells {
		if i >= len(s.header) {
			break
		}
		switch name := s.header[i]; name {
		case table.Layer:
			f.Layer = table.Unguard(cell)
		case table.ID:
			f.ID, f.IDKind = table.ReadID(cell)
		case table.Notice:
			s.noticeOnce(r.place, table.Unguard(cell))
		case table.Shape, table.Properties, "":
		default:
			name = table.Unguard(name)
			value, known := values[name]
			if sameValue(cell, value) {
				continue
			}
			s.count(RuleEdited, r.place, name+": "+shorten(cell))
			if !known {
				members = append(members, wire.Member{Name: name})
			}
			values[name] = typedLike(cell, value)
		}
	}
	if f.Properties != nil || len(members) > 0 {
		f.Properties = s.object(members, values)
	}
	return nil
}

func (s *Source) object(members []wire.Member, values map[string]json.RawMessage) json.RawMessage {
	var o object
	for _, m := range members {
		if v := values[m.Name]; v != nil {
			o.add(m.Name, v)
		}
	}
	return o.bytes()
}

// sameValue reports whether a cell still says what was written into it. What
// spreadsheet programs do to cells on their own is no edit: other line ends,
// 0.10 for 0.1, TRUE for true, 5/4/2026 for a date.
func sameValue(cell string, value json.RawMessage) bool {
	wrote := table.Cell(value)
	lines := strings.NewReplacer("\r\n", "\n", "\r", "\n")
	if cell == wrote || lines.Replace(cell) == lines.Replace(wrote) {
		return true
	}
	if len(value) == 0 {
		return blank(cell)
	}
	switch value[0] {
	case 't', 'f':
		return strings.EqualFold(strings.TrimSpace(cell), wrote)
	case '"':
		return sameDay(cell, wrote)
	}
	a, okA := number(cell, 0)
	b, err := strconv.ParseFloat(wrote, 64)
	return okA && err == nil && a == b
}

func sameDay(cell, wrote string) bool {
	was, err := when.Read(wrote, nil, when.Unneeded)
	if err != nil || was.Kind != when.Day || was.Local.String() != wrote {
		return false
	}
	for _, order := range []when.Order{when.DayFirst, when.MonthFirst} {
		if is, err := when.Read(cell, nil, order); err == nil && is.Kind == when.Day && is.Local == was.Local {
			return true
		}
	}
	return false
}

// typedLike gives an edited cell the type that its value had, where it can;
// text otherwise. An emptied cell takes the property away.
func typedLike(cell string, was json.RawMessage) json.RawMessage {
	trimmed := strings.TrimSpace(cell)
	if trimmed == "" {
		return nil
	}
	if len(was) > 0 {
		switch c := was[0]; {
		case c == 't' || c == 'f':
			if lower := strings.ToLower(trimmed); lower == "true" || lower == "false" {
				return json.RawMessage(lower)
			}
		case c == '-' || c >= '0' && c <= '9':
			if table.IsNumber(trimmed) {
				return json.RawMessage(trimmed)
			}
		case c == '{' || c == '[':
			if trimmed[0] == c && json.Valid([]byte(trimmed)) {
				return json.RawMessage(trimmed)
			}
		}
	}
	return text(table.Unguard(cell))
}
