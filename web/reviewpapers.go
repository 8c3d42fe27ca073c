package web

import (
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/paper"
	"caneward/records/paper/removal"
	"caneward/records/people"
	"caneward/records/review"
)

var (
	reviewNamed = words.New("web-review-named", "Say in “review” which signed decision.", "Diga en «review» qué decisión firmada.")
	badLang     = words.New("web-bad-lang", "lang is en or es; this is “{got}”.", "lang es en o es; esto es «{got}».")

	paramReview = parameter{"review", "id", "which signed decision"}
	paramLang   = parameter{"lang", "text", "en or es; without it what Accept-Language asks for"}
)

func (s *Server) reviewPaperRoutes() []route {
	pages := []reply{{200, []string{typePDF}, "binary", "the pages; the same decision, language and paper give the same bytes"}}
	return []route{
		{method: "GET", pattern: atFarm + "/reports/removal-review.pdf", id: "removalReview", summary: "A signed decision on paper, from what was frozen alone", needs: farm, right: people.Read, long: true, handle: s.removalReview,
			query: []parameter{paramReview, paramPaper, paramLang}, replies: pages, refuses: []int{409, 422}},
		{method: "GET", pattern: atFarm + "/reports/crew-sheet.pdf", id: "crewSheet", summary: "The signed list for the crew, in walking order and large type", needs: farm, right: people.Read, long: true, handle: s.crewSheet,
			query: []parameter{paramReview, paramPaper, paramLang}, replies: pages, refuses: []int{409, 422}},
		{method: "GET", pattern: atFarm + "/reports/removal-list.csv", id: "removalListTable", summary: "The signed list as a table, in walking order", needs: farm, right: people.Read, handle: s.removalListTable,
			query: []parameter{paramReview}, replies: []reply{{200, []string{"text/csv"}, "binary", "the list"}}, refuses: []int{409, 422}},
		{method: "GET", pattern: atFarm + "/reports/removal-list.geojson", id: "removalListPlaces", summary: "The signed list as points, in walking order", needs: farm, right: people.Read, handle: s.removalListPlaces,
			query: []parameter{paramReview}, replies: []reply{{200, []string{typeGeoJSON}, "featureCollection", "the list"}}, refuses: []int{409, 422}},
	}
}

// askedReview is the signed decision a report names, with its frozen records read.
func (x *exchange) askedReview() (review.View, error) {
	name, _ := x.given("review")
	if name == "" {
		return review.View{}, fault.New(fault.Malformed, reviewNamed.Plain(), fault.Detail{Text: reviewNamed.Plain(), Field: "review"})
	}
	_, signed, err := x.signedReview(records.ID(name))
	if err != nil {
		return review.View{}, namedMissing(err, "review")
	}
	return signed.View()
}

// reviewPaper is the language and the size of paper asked for.
func (x *exchange) reviewPaper(v review.View) (removal.Paper, error) {
	p := removal.Paper{Language: x.lang, Size: paper.SizeIn(v.Frozen.Farm.Zone)}
	switch lang, there := x.given("lang"); {
	case !there:
	case lang == string(words.English) || lang == string(words.Spanish):
		p.Language = words.Language(lang)
	default:
		return p, badParameter(badLang, "lang", lang)
	}
	switch name, there := x.given("paper"); {
	case !there:
	case name == paper.Letter.Name:
		p.Size = paper.Letter
	case name == paper.A4.Name:
		p.Size = paper.A4
	default:
		return p, badParameter(badPaper, "paper", name)
	}
	return p, nil
}

func (x *exchange) printReview(name string, print func(review.View, removal.Paper) ([]byte, error)) error {
	v, err := x.askedReview()
	if err != nil {
		return err
	}
	p, err := x.reviewPaper(v)
	if err != nil {
		return err
	}
	return x.alone(func() error {
		data, err := print(v, p)
		if err != nil {
			return err
		}
		return x.attached(name, typePDF, data)
	})
}

func (s *Server) removalReview(x *exchange) error {
	return x.printReview("removal-review.pdf", func(v review.View, p removal.Paper) ([]byte, error) { return removal.Report(x.r.Context(), v, p) })
}

func (s *Server) crewSheet(x *exchange) error {
	return x.printReview("crew-sheet.pdf", func(v review.View, p removal.Paper) ([]byte, error) { return removal.Crew(x.r.Context(), v, p) })
}

func (s *Server) removalListTable(x *exchange) error {
	return x.removalList("removal-list.csv", "text/csv; charset=utf-8; header=present", removal.CSV)
}

func (s *Server) removalListPlaces(x *exchange) error {
	return x.removalList("removal-list.geojson", typeGeoJSON, removal.GeoJSON)
}

func (x *exchange) removalList(name, mediaType string, write func(review.View) ([]byte, error)) error {
	v, err := x.askedReview()
	if err != nil {
		return err
	}
	data, err := write(v)
	if err != nil {
		return err
	}
	return x.attached(name, mediaType, data)
}
