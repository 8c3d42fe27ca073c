package web

import (
	"net/http"

	"caneward/records"
	"caneward/records/people"
)

// needs is who may reach an address at all.
type needs int

const (
	public  needs = iota // anybody
	session              // anybody signed in
	farm                 // people of the farm in the path
)

// route is one line of the table: everything the server does with a method at
// an address follows from it, and so does its description.
type route struct {
	method  string
	pattern string // as gorilla/mux reads it
	id      string // operationId
	summary string
	needs   needs
	right   people.Verb // on the kind in the path, or on the farm; "" asks nothing more
	query   []parameter
	filters bool     // the kind's own filters are parameters too
	headers []string // request headers that matter, for the description
	body    *body    // nil: no body is read
	replies []reply  // beside the refusals
	refuses []int    // statuses of the refusals beside those the lines above bring
	long    bool     // may take Limits.LongTime
	// personal is for people at the page alone, with a cookie: no token does it.
	personal bool
	// computes stores nothing although it is no GET: a token that reads may do it.
	computes bool
	// anyQuery lets undeclared parameters through: the page reads its own.
	anyQuery bool
	// page gives the page, not the data, to a browser that asks for HTML. It is
	// the same to everybody and for every farm, so it stands before the fence.
	page   bool
	handle func(*exchange) error
}

type parameter struct {
	name   string
	schema string // name in the description's schemas
	says   string
}

type body struct {
	types  []string
	schema string
	large  bool  // Limits.Import instead of Limits.JSON
	most   int64 // bytes, where the route has a limit of its own
}

type reply struct {
	status int
	types  []string
	schema string // "" for no body
	says   string
}

func (r *route) parameters(kind records.Kind) map[string]bool {
	known := map[string]bool{}
	for _, p := range r.query {
		known[p.name] = true
	}
	if r.filters {
		for _, name := range filters[kind] {
			known[name] = true
		}
	}
	return known
}

// filters are the properties a list of a kind can be narrowed by; a value must
// equal.
var filters = map[records.Kind][]string{
	records.Blocks:       {"name", "crop", "cultivar"},
	records.Rows:         {"block"},
	records.Surroundings: {"kind"},
	records.Stages:       {"block", "stage"},
	records.Visits:       {"block", "purpose"},
	records.Finds:        {"block", "cause", "state", "visit"},
	records.Samples:      {"result", "laboratory"},
	records.Removals:     {"block", "review"},
	records.Reviews:      {"block"},
	records.Products:     {"name", "registration"},
	records.Passes:       {"state", "pattern"},
	records.Tracks:       {"pass"},
}

var (
	paramBBox     = parameter{"bbox", "bbox", "west,south,east,north in degrees (or with two heights, which are not looked at); west may be greater than east across longitude 180"}
	paramDatetime = parameter{"datetime", "datetime", "an instant, a day, or an interval start/end with .. for an open end; a record without a time always passes"}
	paramLimit    = parameter{"limit", "limit", "at most so many; more than 10000 counts as 10000"}
	paramAfter    = parameter{"after", "cursor", "where the list goes on; comes with the next link"}
	paramSequence = parameter{"after", "sequence", "the last sequence number the phone has"}
	paramChanges  = parameter{"limit", "limit", "at most so many; more than 1000 counts as 1000"}

	featureBody = &body{types: []string{typeGeoJSON, typeJSON}, schema: "feature"}
)

// proposalReplies: who prefers not to wait is told where to look (RFC 7240).
var proposalReplies = []reply{
	{http.StatusOK, []string{typeJSON}, "proposal", "features, notices and questions"},
	{http.StatusAccepted, []string{typeJSON}, "proposal", "the reading goes on; Location says where to follow it"},
}

func okJSON(schema, says string) []reply {
	return []reply{{http.StatusOK, []string{typeJSON}, schema, says}}
}

// Addresses that stand in the table more than once.
const (
	atFarm  = "/farms/{farm}"
	atKind  = atFarm + "/collections/{kind}"
	atItems = atKind + "/items"
	atItem  = atItems + "/{id}"

	atPhoto  = atFarm + "/photos/{photo}"
	atImport = atFarm + "/imports/{import}"
)

// table is the whole outside of the server.
func (s *Server) table() []route {
	var all []route
	for _, part := range [][]route{s.commonRoutes(), s.farmRoutes(), s.itemRoutes(), s.scoutingRoutes(), s.sprayRoutes(), s.reviewPaperRoutes(), s.mayiRoutes(), s.workRoutes(), s.layoutRoutes(), s.fieldRoutes(), s.reviewRoutes(), s.pageRoutes()} {
		all = append(all, part...)
	}
	all = append(all, s.peopleRoutes()...)
	for i := range all {
		// Bringing in and erasing a farm is for its owner at the page.
		if all[i].right == people.Keep && all[i].method != http.MethodGet {
			all[i].personal = true
		}
	}
	return all
}

func (s *Server) commonRoutes() []route {
	return []route{
		{method: "GET", pattern: "/healthz", id: "healthz", summary: "Is the server up", handle: s.healthz,
			replies: okJSON("health", "it is")},
		{method: "GET", pattern: "/readyz", id: "readyz", summary: "Can the server read its records", handle: s.readyz,
			replies: okJSON("health", "it can"), refuses: []int{503}},
		{method: "GET", pattern: "/metrics", id: "metrics", summary: "Counts and times, Prometheus text format, to this machine and those named at the start", handle: s.serveMetrics,
			replies: []reply{{200, []string{"text/plain"}, "text", "the metrics"}}, refuses: []int{404}},
		{method: "GET", pattern: "/openapi.json", id: "openapi", summary: "This description", handle: s.serveDescription,
			replies: []reply{{200, []string{typeOpenAPI}, "any", "an OpenAPI 3.0 document"}}},
		{method: "GET", pattern: "/problems/{name}", id: "problemSort", summary: "What a kind of refusal means", handle: s.serveProblemSort,
			replies: []reply{{200, []string{"text/plain"}, "text", "its title"}}, refuses: []int{404}},
		{method: "POST", pattern: "/sessions", id: "signIn", summary: "Sign in", handle: s.signIn,
			body: &body{types: []string{typeJSON}, schema: "signIn"}, replies: okJSON("who", "who signed in, and the cookie of the session"), refuses: []int{401, 429}},
		{method: "GET", pattern: "/sessions/current", id: "whoAmI", summary: "Who is signed in", needs: session, handle: s.whoAmI,
			replies: okJSON("who", "who is signed in")},
		{method: "DELETE", pattern: "/sessions/current", id: "signOut", summary: "Sign out", needs: session, personal: true, handle: s.signOut,
			replies: []reply{{204, nil, "", "the session has ended"}}},
		{method: "GET", pattern: "/base", id: "baseMap", summary: "The base map and what must be shown beside it", needs: session, handle: s.baseInfo,
			replies: okJSON("baseMap", "the base map")},
		{method: "GET", pattern: "/base/{z}/{x}/{y}", id: "baseTile", summary: "A picture of the base map", needs: session, handle: s.baseTile,
			replies: []reply{{200, []string{"image/png", "image/jpeg", "image/webp"}, "binary", "the picture"}, {204, nil, "", "the base map has none here"}}, refuses: []int{404, 502}},
	}
}

func (s *Server) farmRoutes() []route {
	landing := route{method: "GET", id: "landing", summary: "Landing page of the farm", needs: farm, right: people.Read, page: true, handle: s.landing, replies: okJSON("landingPage", "links")}
	slashed, plain := landing, landing
	slashed.pattern, plain.pattern, plain.id = atFarm+"/", atFarm, "landingWithoutSlash"
	return []route{
		slashed, plain,
		{method: "GET", pattern: atFarm + "/conformance", id: "conformance", summary: "Conformance classes", needs: farm, right: people.Read, handle: s.conformance,
			replies: okJSON("conformance", "the classes")},
		{method: "GET", pattern: atFarm + "/api", id: "api", summary: "Description of the farm's addresses", needs: farm, right: people.Read, handle: s.serveDescription,
			replies: []reply{{200, []string{typeOpenAPI}, "any", "an OpenAPI 3.0 document"}}},
		{method: "GET", pattern: atFarm + "/collections", id: "collections", summary: "The kinds of record", needs: farm, right: people.Read, handle: s.collections,
			replies: okJSON("collections", "the kinds")},
		{method: "GET", pattern: atKind, id: "collection", summary: "One kind of record", needs: farm, right: people.Read, handle: s.collection,
			replies: okJSON("collection", "the kind")},
	}
}

func (s *Server) itemRoutes() []route {
	written := func(says string) reply { return reply{200, []string{typeGeoJSON}, "feature", says} }
	return []route{
		{method: "GET", pattern: atItems, id: "items", summary: "Records of a kind, by id", needs: farm, right: people.Read, handle: s.items,
			query: []parameter{paramBBox, paramDatetime, paramLimit, paramAfter}, filters: true, headers: []string{"If-None-Match"},
			replies: []reply{{200, []string{typeGeoJSON}, "featureCollection", "one page; the link next leads on"}, {304, nil, "", "nothing has changed"}}},
		{method: "GET", pattern: atItem, id: "item", summary: "One record", needs: farm, right: people.Read, handle: s.item, headers: []string{"If-None-Match"},
			replies: []reply{written("the record"), {304, nil, "", "it has not changed"}}},
		{method: "PUT", pattern: atItem, id: "putItem", summary: "Create or replace a record", needs: farm, right: people.Write, handle: s.putItem,
			headers: []string{"If-Match", "If-None-Match"}, body: featureBody,
			replies: []reply{{201, []string{typeGeoJSON}, "feature", "created"}, written("replaced, or sent before")}, refuses: []int{409, 412, 422, 428, 507}},
		{method: "DELETE", pattern: atItem, id: "deleteItem", summary: "Add a closing revision", needs: farm, right: people.Write, handle: s.deleteItem,
			headers: []string{"If-Match", whyHeader}, replies: []reply{{204, nil, "", "closed"}}, refuses: []int{412, 428, 507}},
		{method: "GET", pattern: atItem + "/revisions", id: "revisions", summary: "Every revision of a record, oldest first", needs: farm, right: people.Read, handle: s.revisions,
			replies: okJSON("revisions", "who, when, why, what")},
		{method: "GET", pattern: atFarm + "/changes", id: "changes", summary: "Every revision since a sequence number", needs: farm, right: people.Read, handle: s.changesSince,
			query: []parameter{paramSequence, paramChanges}, replies: okJSON("changesSince", "a page of revisions")},
		{method: "POST", pattern: atFarm + "/changes", id: "sendChanges", summary: "An ordered batch of changes", needs: farm, right: people.Read, handle: s.takeChanges,
			body: &body{types: []string{typeJSON}, schema: "changes"}, replies: okJSON("outcomes", "one outcome a change, each on its own"), refuses: []int{422, 507}},
	}
}

func (s *Server) workRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	return []route{
		{method: "POST", pattern: atFarm + "/treated-area", id: "treatedArea", summary: "A draft pass worked out; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.treatedArea,
			body: asked("treatedAreaAsk"), replies: okJSON("treatedArea", "areas, totals, tank sheet and checks")},
		{method: "POST", pattern: atFarm + "/hot-spots", id: "hotSpots", summary: "Groups of finds with their evidence; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.hotSpots,
			body: asked("hotSpotsAsk"), replies: okJSON("hotSpots", "groups, windows, runs and the list")},
		{method: "POST", pattern: atFarm + "/imports", id: "proposeImport", summary: "What a file holds; nothing stored", needs: farm, right: people.Import, long: true, handle: s.proposeImport,
			headers: []string{"Prefer"}, body: &body{types: []string{typeForm}, schema: "importForm", large: true}, replies: proposalReplies, refuses: []int{422}},
		{method: "GET", pattern: atImport, id: "import", summary: "How far the reading has come, or what the file holds", needs: farm, right: people.Import, handle: s.showImport,
			replies: okJSON("proposal", "the proposal"), refuses: []int{404}},
		{method: "PATCH", pattern: atImport, id: "answerImport", summary: "Read the file again with answers to its questions", needs: farm, right: people.Import, long: true, handle: s.answerImport,
			headers: []string{"Prefer"}, body: asked("importAnswers"), replies: proposalReplies, refuses: []int{404, 409, 422}},
		{method: "POST", pattern: atImport, id: "storeImport", summary: "Store what was agreed of a proposal, all of it or nothing", needs: farm, right: people.Import, handle: s.storeImport,
			body: asked("importTake"), replies: okJSON("outcomes", "one outcome a feature"), refuses: []int{404, 409, 422, 507}},
		{method: "DELETE", pattern: atImport, id: "endImport", summary: "Stop a reading, forget a proposal, or undo what was stored of it", needs: farm, right: people.Import, handle: s.endImport,
			replies: []reply{{200, []string{typeJSON}, "importUndone", "undone"}, {204, nil, "", "stopped or forgotten"}}, refuses: []int{404, 409, 507}},
		{method: "PUT", pattern: atPhoto, id: "putPhoto", summary: "Keep a picture that records name", needs: farm, right: people.Read, handle: s.putPhoto,
			body: &body{types: records.PhotoTypes, schema: "binary", most: records.PhotoLimit}, replies: []reply{{201, nil, "", "kept"}, {200, nil, "", "kept before"}}, refuses: []int{409, 422, 507}},
		{method: "GET", pattern: atPhoto, id: "photo", summary: "A picture", needs: farm, right: people.Read, handle: s.photo,
			replies: []reply{{200, records.PhotoTypes, "binary", "the picture"}}, refuses: []int{404}},
		{method: "GET", pattern: atFarm + "/keeping", id: "keeping", summary: "How the farm is kept: copies, history, and whether it is to be erased", needs: farm, right: people.Read, handle: s.keeping,
			replies: okJSON("keeping", "what of it concerns who asks")},
		{method: "POST", pattern: atFarm + "/erasure", id: "askErasure", summary: "Have the farm erased after the waiting time", needs: farm, right: people.Keep, handle: s.askErasure,
			body: asked("erasureAsk"), replies: okJSON("keeping", "when it will be"), refuses: []int{409, 422, 507}},
		{method: "DELETE", pattern: atFarm + "/erasure", id: "takeBackErasure", summary: "Keep the farm after all", needs: farm, right: people.Keep, handle: s.takeBackErasure,
			replies: okJSON("keeping", "it stays"), refuses: []int{409, 507}},
		{method: "POST", pattern: atFarm + "/history", id: "bringIn", summary: "Give an empty farm the history of an archive of a whole farm", needs: farm, right: people.Keep, long: true, handle: s.bringIn,
			body: &body{types: []string{typeZIP}, schema: "binary", most: s.Limits.Archive}, replies: okJSON("keeping", "how the farm is now"), refuses: []int{409, 422, 507}},
		{method: "GET", pattern: atFarm + "/tiles/{layer}/{z}/{x}/{y}.mvt", id: "tile", summary: "A vector tile", needs: farm, right: people.Read, handle: s.tile,
			headers: []string{"If-None-Match"}, replies: []reply{{200, []string{"application/vnd.mapbox-vector-tile"}, "binary", "the tile"}, {204, nil, "", "nothing is here"}, {304, nil, "", "it has not changed"}}},
		{method: "GET", pattern: atFarm + "/reports/planting-plan.pdf", id: "plantingPlan", summary: "A block with its rows on paper, to scale; nothing stored", needs: farm, right: people.Read, long: true, handle: s.plantingPlan,
			query: planParams, replies: []reply{{200, []string{typePDF}, "binary", "the pages"}}, refuses: []int{422}},
		{method: "GET", pattern: atFarm + "/reports/audit.csv", id: "auditTable", summary: "Who saw or changed what, as a table", needs: farm, right: people.Keep, long: true, handle: s.auditReport,
			replies: []reply{{200, []string{"text/csv"}, "text", "one line for an hour, a person and an address"}}},
		{method: "GET", pattern: atFarm + "/reports/audit.json", id: "audit", summary: "Who saw or changed what, newest first", needs: farm, right: people.Keep, long: true, handle: s.auditReport,
			query: []parameter{paramChanges}, replies: okJSON("audit", "the newest entries")},
		{method: "GET", pattern: atFarm + "/reports/{name:[a-z0-9-]+}.{form:[a-z]+}", id: "report", summary: "A report", needs: farm, right: people.Read, handle: s.report,
			replies: []reply{{200, []string{"text/csv", typeGeoJSON}, "binary", "the report"}}},
		{method: "GET", pattern: atFarm + "/exports", id: "exports", summary: "The files the farm can be taken away as", needs: farm, right: people.Read, handle: s.listExports,
			replies: okJSON("exports", "names, formats and what reads differently in them")},
		{method: "GET", pattern: atFarm + "/exports/everything.zip", id: "everything", summary: "The farm whole, with its history, in one archive", needs: farm, right: people.Keep, long: true, handle: s.everything,
			replies: []reply{{200, []string{typeZIP}, "binary", "the archive"}}, refuses: []int{429}},
		{method: "GET", pattern: atFarm + "/exports/{name:[a-z]+}.{form:[a-z]+}", id: "export", summary: "The farm, or one kind of record, as a file", needs: farm, right: people.Read, long: true, handle: s.export,
			replies: []reply{{200, exportTypes(), "binary", "the file, whole"}}, refuses: []int{403, 422, 429}},
	}
}

func (s *Server) pageRoutes() []route {
	html := func(says string) []reply { return []reply{{200, []string{"text/html"}, "text", says}} }
	return []route{
		{method: "GET", pattern: "/", id: "page", summary: "The page", anyQuery: true, handle: s.servePage, replies: html("the page")},
		{method: "GET", pattern: "/go/{rest:.*}", id: "pagePlace", summary: "A place within the page", anyQuery: true, handle: s.servePage, replies: html("the page")},
		{method: "GET", pattern: "/{file:[A-Za-z0-9_-]+\\.[A-Za-z0-9.]+}", id: "pageFile", summary: "A file of the page", anyQuery: true, handle: s.servePageFile,
			replies: []reply{{200, []string{"application/octet-stream"}, "binary", "the file"}}, refuses: []int{404}},
		{method: "GET", pattern: "/assets/{file:[A-Za-z0-9._-]+}", id: "pageAsset", summary: "A file of the page whose name holds its hash", anyQuery: true, handle: s.servePageFile,
			replies: []reply{{200, []string{"application/octet-stream"}, "binary", "the file"}}, refuses: []int{404}},
	}
}
