package web

import (
	"net/http"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/hotspot"
	"caneward/records/spray"
)

var (
	noSuchBlock = words.New("web-no-such-block", "There is no such block on this farm.", "No hay tal bloque en esta finca.")
)

// alone runs work that takes a processor for long. Only so many run at once;
// the others wait, and give up when their client does.
func (x *exchange) alone(f func() error) error {
	select {
	case x.s.heavy <- struct{}{}:
		defer func() { <-x.s.heavy }()
	case <-x.r.Context().Done():
		return x.r.Context().Err()
	}
	return f()
}

// treatedArea works a draft pass out; nothing is stored.
func (s *Server) treatedArea(x *exchange) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	request, err := spray.ReadRequest(data)
	if err != nil {
		return err
	}
	if err := x.chooseSprayer(&request); err != nil {
		return err
	}
	var ground spray.Ground
	err = x.view(func(r records.Reader) error {
		ground, err = spray.Load(r, request)
		return err
	})
	if err != nil {
		return err
	}
	ground.Now = s.Now()
	return x.alone(func() error {
		answer, err := spray.Draft(x.r.Context(), ground, request)
		if err != nil {
			return err
		}
		body, err := answer.Encode(x.lang)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, body)
	})
}

// hotSpots finds groups of finds in one block; nothing is stored.
func (s *Server) hotSpots(x *exchange) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	request, err := hotspot.DecodeRequest(data)
	if err != nil {
		return err
	}
	var input hotspot.Input
	err = x.view(func(r records.Reader) error {
		input, err = hotspot.Load(r, request)
		return err
	})
	if err != nil {
		return blockMissing(err)
	}
	return x.alone(func() error {
		analysis, err := request.Analyse(x.r.Context(), input)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, analysis.Document(x.lang))
	})
}

// blockMissing says of a block named in a body that it is not there: the address
// itself is, so this is no 404.
func blockMissing(err error) error {
	if !fault.Is(err, fault.Missing) {
		return err
	}
	return fault.New(fault.Invalid, noSuchBlock.Plain(), fault.Detail{Text: noSuchBlock.Plain(), Field: "block"})
}
