package web

import (
	"encoding/json"
	"net/http"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/people"
	"caneward/web/problem"
)

// object keeps JSON objects readable below; encoding/json sorts the names, so
// the description is the same from run to run.
type object = map[string]any

// describe writes the description of the server and that of a farm, from the
// table of routes. Both are kept without the servers member, which depends on
// the request.
func (s *Server) describe() (map[string][]byte, error) {
	out := map[string][]byte{}
	for name, prefix := range map[string]string{"server": "", "farm": atFarm} {
		data, err := json.Marshal(s.description(prefix))
		if err != nil {
			return nil, err
		}
		out[name] = data
	}
	return out, nil
}

// serveDescription answers /openapi.json and, with paths below the farm, the
// farm's own /api.
func (s *Server) serveDescription(x *exchange) error {
	name, at := "server", x.base()+"/"
	if x.route.needs == farm {
		name, at = "farm", x.farmBase()
	}
	var d map[string]json.RawMessage
	if err := json.Unmarshal(s.described[name], &d); err != nil {
		return err
	}
	servers, err := json.Marshal([]object{{"url": at}})
	if err != nil {
		return err
	}
	d["servers"] = servers
	data, err := json.Marshal(d)
	if err != nil {
		return err
	}
	x.w.Header().Set("Cache-Control", "no-cache")
	return x.send(http.StatusOK, typeOpenAPI, append(data, '\n'))
}

// serveProblemSort says what a type of problem means.
func (s *Server) serveProblemSort(x *exchange) error {
	for _, sort := range problem.Sorts() {
		if sort.Name == x.vars["name"] {
			x.w.Header().Set("Content-Language", string(x.lang))
			return x.send(http.StatusOK, "text/plain; charset=utf-8", []byte(sort.Title.Plain().In(x.lang)+"\n"))
		}
	}
	return fault.New(fault.Missing, noSuchAddress.Plain())
}

var pathParameter = regexp.MustCompile(`\{([a-z]+)(?::((?:[^{}]|\{[^{}]*\})*))?\}`)

func (s *Server) description(prefix string) object {
	paths := object{}
	for i := range s.routes {
		r := &s.routes[i]
		if prefix != "" && (r.needs != farm || r.pattern == prefix) {
			continue
		}
		path := pathParameter.ReplaceAllString(strings.TrimPrefix(r.pattern, prefix), "{$1}")
		at, _ := paths[path].(object)
		if at == nil {
			at = object{}
			paths[path] = at
		}
		at[strings.ToLower(r.method)] = operation(r, path)
	}
	return object{
		"openapi": "3.0.3",
		"info": object{
			"title":       "caneward",
			"description": "Block map and spatial records of bramble farms. Lengths m, areas m2, angles degrees clockwise from true north, positions longitude, latitude (WGS 84), times RFC 3339 with zone. Labels, local law and licensed advice come before anything computed here.",
			"version":     "1",
		},
		"paths": paths,
		"components": object{"schemas": schemas(), "securitySchemes": object{
			"session": object{"type": "apiKey", "in": "cookie", "name": cookieName},
			"token":   object{"type": "http", "scheme": "bearer", "description": "a personal token; programs that know only names and passwords send it as the password of HTTP Basic"},
		}},
	}
}

func operation(r *route, path string) object {
	op := object{"operationId": r.id, "summary": r.summary, "responses": responses(r)}
	parameters := []object{}
	for _, m := range pathParameter.FindAllStringSubmatch(path, -1) {
		parameters = append(parameters, object{"name": m[1], "in": "path", "required": true, "schema": pathSchema(m[1])})
	}
	for _, p := range r.query {
		parameters = append(parameters, queryParameter(p))
	}
	if r.filters {
		parameters = append(parameters, filterParameters()...)
	}
	for _, h := range r.headers {
		parameters = append(parameters, object{"name": h, "in": "header", "schema": object{"type": "string"}})
	}
	if len(parameters) > 0 {
		op["parameters"] = parameters
	}
	if r.needs != public {
		op["security"] = []object{{"session": []string{}}}
		if !r.personal {
			op["security"] = []object{{"session": []string{}}, {"token": []string{}}}
		}
	}
	if r.body != nil {
		op["requestBody"] = object{"required": true, "content": content(r.body.types, r.body.schema)}
	}
	return op
}

func pathSchema(name string) object {
	switch name {
	case "kind":
		return ref("kind")
	case "id":
		return ref("id")
	case "farm":
		return ref("farmId")
	case "z", "x", "y":
		return object{"type": "integer", "minimum": 0}
	case "layer":
		return object{"type": "string", "enum": sortedNames(layers)}
	}
	return object{"type": "string"}
}

func queryParameter(p parameter) object {
	out := object{"name": p.name, "in": "query", "required": false, "description": p.says, "schema": ref(p.schema)}
	if p.schema == "bbox" {
		out["style"], out["explode"] = "form", false
	}
	return out
}

// filterParameters tells which kinds know a filter.
func filterParameters() []object {
	kinds := map[string][]string{}
	for _, kind := range records.Kinds {
		for _, name := range filters[kind] {
			kinds[name] = append(kinds[name], string(kind))
		}
	}
	var out []object
	for _, name := range sortedNames(kinds) {
		out = append(out, object{"name": name, "in": "query", "required": false, "schema": object{"type": "string"},
			"description": "the property must equal this; for " + strings.Join(kinds[name], ", ")})
	}
	return out
}

func ref(schema string) object { return object{"$ref": "#/components/schemas/" + schema} }

func content(types []string, schema string) object {
	out := object{}
	for _, t := range types {
		media := object{"schema": ref(schema)}
		if t == typeForm {
			media["encoding"] = object{"file": object{"contentType": "application/octet-stream"}}
		}
		out[t] = media
	}
	return out
}

// responses are the answers of a line and every refusal that follows from it.
func responses(r *route) object {
	out := object{}
	for _, a := range r.replies {
		says := object{"description": a.says}
		if a.schema != "" {
			says["content"] = content(a.types, a.schema)
		}
		out[strconv.Itoa(a.status)] = says
	}
	for _, status := range refusals(r) {
		if _, taken := out[strconv.Itoa(status)]; !taken {
			out[strconv.Itoa(status)] = object{"description": http.StatusText(status), "content": content([]string{problem.MediaType}, "problem")}
		}
	}
	return out
}

func refusals(r *route) []int {
	all := map[int]bool{http.StatusInternalServerError: true}
	for _, status := range r.refuses {
		all[status] = true
	}
	if !r.anyQuery {
		all[400] = true
	}
	if r.needs != public {
		all[401], all[503] = true, true
	}
	if r.needs == farm {
		all[404] = true
	}
	if r.right == people.Write || r.right == people.Import || r.right == people.Govern {
		all[403] = true
	}
	if r.body != nil {
		all[413], all[415], all[422] = true, true, true
	}
	if r.method != "GET" {
		all[403] = true
	}
	var out []int
	for status := range all {
		out = append(out, status)
	}
	sort.Ints(out)
	return out
}
