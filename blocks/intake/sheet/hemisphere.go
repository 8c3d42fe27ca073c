package sheet

import (
	"regexp"
	"strings"
)

// besideHeaders are headings of columns that hold N or S, E or W alone, as plain
// writes them.
var besideHeaders = map[Field]*regexp.Regexp{
	Latitude:  regexp.MustCompile(`^(ns|sn|(lat|latitude|latitud)(ns|dir|direction|direccion|ref|hem|hemisphere|hemisferio))$`),
	Longitude: regexp.MustCompile(`^(ew|we|eo|oe|(lon|long|lng|longitude|longitud)(ew|we|eo|oe|dir|direction|direccion|ref|hem|hemisphere|hemisferio))$`),
}

// findHemispheres finds columns that hold the hemisphere of the latitude and
// the longitude: by their heading, or both right behind their numbers with
// nothing but such letters in them. A column "side" with N and S somewhere else
// says which side of a row was meant.
func (s *Source) findHemispheres() {
	if !s.has(Latitude) || !s.has(Longitude) || s.headed.line == 0 {
		return
	}
	s.facts.beside = map[Field]int{}
	for i, h := range s.header {
		if s.fields[i] != Other {
			continue
		}
		name, _ := plain(h)
		for f, heading := range besideHeaders {
			if _, found := s.facts.beside[f]; !found && heading.MatchString(name) {
				s.facts.beside[f] = i
			}
		}
	}
	if len(s.facts.beside) > 0 {
		return
	}
	lat, lon := s.of[Latitude]+1, s.of[Longitude]+1
	if s.onlyLetters(lat, "NS") && s.onlyLetters(lon, "EWO") {
		s.facts.beside[Latitude], s.facts.beside[Longitude] = lat, lon
	}
}

// onlyLetters reports whether the head of a column nobody knows holds nothing
// but some letters.
func (s *Source) onlyLetters(column int, letters string) bool {
	if column >= len(s.fields) || s.fields[column] != Other {
		return false
	}
	seen := false
	for _, cells := range sample(s.text[s.cut:], s.delimiter) {
		if column >= len(cells) || blank(cells[column]) {
			continue
		}
		cell := strings.ToUpper(strings.TrimSpace(cells[column]))
		if len(cell) != 1 || !strings.Contains(letters, cell) {
			return false
		}
		seen = true
	}
	return seen
}

// letterBeside is the hemisphere that the row has in a column of its own, 0 for
// none. One that a minus contradicts is refused.
func (s *Source) letterBeside(r row, f Field, letters string) (byte, error) {
	i, ok := s.facts.beside[f]
	if !ok || i >= len(r.cells) || blank(r.cells[i]) {
		return 0, nil
	}
	letter := strings.ToUpper(strings.TrimSpace(r.cells[i]))
	if words := map[string]string{"NORTH": "N", "NORTE": "N", "SOUTH": "S", "SUR": "S", "EAST": "E", "ESTE": "E", "WEST": "W", "OESTE": "W"}; words[letter] != "" {
		letter = words[letter]
	}
	if len(letter) != 1 || !strings.Contains(letters, letter) {
		return 0, s.broken(r, RuleHemisphere, s.cell(r, f)+" "+r.cells[i], nil)
	}
	if v, ok := s.figure(r, f); ok && v < 0 && strings.Contains("NE", letter) {
		return 0, s.broken(r, RuleHemisphere, s.cell(r, f)+" "+r.cells[i], nil)
	}
	return letter[0], nil
}
