package wire

import (
	"bytes"
	"fmt"
	"io"
)

// Form is how features stand in a file.
type Form string

// The forms.
const (
	FormCollection Form = "collection" // one FeatureCollection
	FormFeature    Form = "feature"    // one Feature
	FormGeometry   Form = "geometry"   // one geometry, no Feature around it
	FormSequence   Form = "sequence"   // RFC 8142 text sequence
	FormLines      Form = "lines"      // one Feature or geometry a line
)

const recordSeparator = 0x1E // RFC 8142 section 2

// FeatureReader gives the features of a file one by one.
type FeatureReader struct {
	form    Form
	crs     string
	d       decoder
	starts  []int // where each feature's value starts
	next    int
	foreign []Member
}

// NewFeatureReader reads a UTF-8 file, at most Limits.Bytes of it, and checks
// the grammar of all of it before it gives the first feature, so that a file
// cut off half way gives none. A UTF-8 byte order mark is stepped over. The
// error is an *Error, or the reader's own.
func NewFeatureReader(r io.Reader, o Options) (*FeatureReader, error) {
	l := o.Limits.filled()
	data, err := io.ReadAll(io.LimitReader(r, l.Bytes+1))
	if err != nil {
		return nil, fmt.Errorf("wire: reading features: %w", err)
	}
	if int64(len(data)) > l.Bytes {
		return nil, &Error{Rule: RuleBytes, Limit: l.Bytes, Byte: l.Bytes}
	}
	f := &FeatureReader{d: decoder{
		scanner:  scanner{data: data, most: l.Depth},
		vertices: l.Vertices, most: l.Vertices, lenient: o.Lenient, raw: o.Raw,
	}}
	if bytes.HasPrefix(data, []byte("\xEF\xBB\xBF")) {
		f.d.at = 3
	}
	if err := f.index(l.Features); err != nil {
		return nil, err
	}
	return f, nil
}

// Form is how the features stand in the file.
func (f *FeatureReader) Form() Form { return f.form }

// CRS is the name in the collection's crs member (2008 specification), "" for
// none.
func (f *FeatureReader) CRS() string { return f.crs }

// Foreign is what else the collection holds.
func (f *FeatureReader) Foreign() []Member { return f.foreign }

// Notes is empty: what is mended is said with its feature.
func (f *FeatureReader) Notes() []*Error { return nil }

// Len is the number of features.
func (f *FeatureReader) Len() int { return len(f.starts) }

// Next gives the next feature, io.EOF after the last. An *Error speaks of this
// one feature, which then holds what could be read (its id and properties);
// the call after it gives the following one.
func (f *FeatureReader) Next() (Feature, error) {
	if f.next >= len(f.starts) {
		return Feature{}, io.EOF
	}
	number := f.next + 1
	f.d.at, f.d.depth = f.starts[f.next], 0
	f.next++
	read := f.d.feature
	if f.bare(f.d.at) {
		read = f.d.bare
	}
	feature, err := read()
	feature.Number = number
	feature.Line = f.d.lineAt(int(feature.Byte))
	for _, e := range feature.Departures {
		e.Feature = number
	}
	if err != nil {
		err.Feature = number
		return feature, err
	}
	return feature, nil
}

// bare reports whether a geometry stands where a feature may: at the top of
// the file, or on a line of its own.
func (f *FeatureReader) bare(at int) bool {
	if f.form == FormCollection || f.form == FormFeature {
		return false
	}
	s := f.d.scanner
	s.at, s.depth = at, 0
	kind, err := topType(&s)
	return err == nil && kind != "Feature"
}

// topType is the type of the object that stands next, "" without one.
func topType(s *scanner) (string, *Error) {
	kind := ""
	err := s.object(func(name string, _ int) *Error {
		if name != "type" || s.peek() != '"' {
			return s.skip()
		}
		text, err := s.text()
		kind = text
		return err
	})
	return kind, err
}

// index finds where the features are and checks the grammar of everything.
func (f *FeatureReader) index(most int) error {
	s := &f.d.scanner
	if s.peek() == recordSeparator {
		f.form = FormSequence
		return f.indexMany(most)
	}
	if s.at == len(s.data) {
		return &Error{Rule: RuleNothing, Byte: int64(s.at), Line: 1}
	}
	start := s.at
	kind, err := topType(s)
	if err != nil {
		return err
	}
	lineEnded := s.at < len(s.data) && (s.data[s.at] == '\n' || s.data[s.at] == '\r')
	if s.peek() == '{' && lineEnded && kind != "FeatureCollection" {
		f.form = FormLines
		s.at, s.depth = start, 0
		return f.indexMany(most)
	}
	if err := s.end(); err != nil {
		return err
	}
	s.at, s.depth = start, 0
	switch kind {
	case "FeatureCollection":
		f.form = FormCollection
		if err := f.indexCollection(most); err != nil {
			return err
		}
		return nil
	case "Feature":
		f.form = FormFeature
	default:
		f.form = FormGeometry
	}
	f.starts = []int{start}
	return nil
}

func (f *FeatureReader) add(at, most int) *Error {
	if len(f.starts) >= most {
		e := f.d.fail(RuleFeatures, at)
		e.Limit = int64(most)
		return e
	}
	f.starts = append(f.starts, at)
	return nil
}

// indexMany finds the texts of a sequence. RFC 8142 asks for a separator
// before each; on plain lines each value must start on a line of its own.
func (f *FeatureReader) indexMany(most int) error {
	s := &f.d.scanner
	for {
		for s.peek() == recordSeparator && f.form == FormSequence {
			s.at++
		}
		if s.at == len(s.data) {
			break
		}
		if err := f.add(s.at, most); err != nil {
			return err
		}
		if s.data[s.at] != '{' {
			return s.wrong(RuleObject)
		}
		if err := s.skip(); err != nil {
			return err
		}
		after := s.at
		if c := s.peek(); s.at < len(s.data) && f.form == FormLines &&
			bytes.IndexByte(s.data[after:s.at], '\n') < 0 && c != 0 {
			return s.fail(RuleTrailing, s.at)
		}
		if c := s.peek(); s.at < len(s.data) && f.form == FormSequence && c != recordSeparator {
			return s.fail(RuleTrailing, s.at)
		}
	}
	if len(f.starts) == 0 {
		return &Error{Rule: RuleNothing, Byte: int64(s.at), Line: 1}
	}
	return nil
}

func (f *FeatureReader) indexCollection(most int) *Error {
	s := &f.d.scanner
	seen := map[string]bool{}
	start := s.at
	err := s.object(func(name string, at int) *Error {
		if seen[name] {
			e := s.fail(RuleDuplicateKey, at)
			e.Path, e.Got = name, name
			return e
		}
		seen[name] = true
		s.space()
		value := s.at
		switch name {
		case "features":
			return s.array(func(int) *Error {
				s.space()
				if err := f.add(s.at, most); err != nil {
					return err
				}
				return s.skip()
			})
		case "crs":
			if s.peek() != 'n' {
				f.crs = crsName(s.data[s.at:], s.most)
			}
		}
		if err := s.skip(); err != nil {
			return err
		}
		if name != "type" && name != "bbox" && name != "crs" {
			f.foreign = append(f.foreign, Member{Name: name, Value: s.data[value:s.at]})
		}
		return nil
	})
	if err != nil {
		if err.Path == "" && (err.Rule == RuleArray || err.Rule == RuleObject) {
			err.Path = "features"
		}
		return err
	}
	if !seen["features"] {
		e := s.fail(RuleMember, start)
		e.Path, e.Got = "features", ""
		return e
	}
	return nil
}
