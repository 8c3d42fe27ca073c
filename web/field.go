package web

import (
	"net/http"

	"caneward/records"
	"caneward/records/coverage"
	"caneward/records/people"
)

func (s *Server) fieldRoutes() []route {
	return []route{
		{method: "POST", pattern: atFarm + "/coverage", id: "coverage", summary: "What a sprayer's track covered of a block; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.coverage,
			body: &body{types: []string{typeJSON}, schema: "coverageAsk"}, replies: okJSON("coverage", "areas and their ground")},
	}
}

func fieldSchemas() object {
	return object{
		"coverageAsk": shape([]string{"track", "block"}, object{
			"track":    object{"oneOf": []object{ref("id"), {"type": "array", "items": object{"type": "array", "minItems": 4, "maxItems": 5, "items": number}, "description": "longitude, latitude, Unix seconds, width in metres until the next fix, and if wanted metres by which its middle lies to the right"}}},
			"block":    object{"oneOf": []object{ref("id"), ref("geometry")}},
			"setbacks": list(ref("any")), "wind_from_deg": number,
		}),
		"coverage": shape([]string{"areas", "geometries", "runs", "pieces", "sprayed_length_m"}, object{
			"areas": object{"type": "object", "additionalProperties": number}, "geometries": object{"type": "object", "additionalProperties": ref("geometry")},
			"runs": whole, "pieces": whole, "sprayed_length_m": number, "how": object{"type": "object", "additionalProperties": text("what the area is")}, "caution": text("in words"),
		}),
	}
}

// coverage works out what a track covered; nothing is stored.
func (s *Server) coverage(x *exchange) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	request, err := coverage.Read(data)
	if err != nil {
		return err
	}
	var input coverage.Input
	err = x.view(func(r records.Reader) error {
		input, err = coverage.Load(r, request)
		return err
	})
	if err != nil {
		return err
	}
	return x.alone(func() error {
		result, err := coverage.Work(x.r.Context(), input)
		if err != nil {
			return err
		}
		body, err := result.Encode(x.lang)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, body)
	})
}
