package web

import (
	"caneward/blocks/intake"
	"caneward/records"
	"caneward/records/hotspot"
)

func text(says string) object { return object{"type": "string", "description": says} }

func list(items object) object { return object{"type": "array", "items": items} }

func shape(required []string, properties object) object {
	o := object{"type": "object", "properties": properties}
	if len(required) > 0 {
		o["required"] = required
	}
	return o
}

var (
	whole  = object{"type": "integer"}
	number = object{"type": "number"}
	truth  = object{"type": "boolean"}
)

// schemas are the shapes the description refers to. Properties of records are
// open: what a client adds is kept.
func schemas() object {
	kinds := make([]string, 0, len(records.Kinds))
	for _, k := range records.Kinds {
		kinds = append(kinds, string(k))
	}
	all := object{
		"any":      object{"type": "object"},
		"binary":   object{"type": "string", "format": "binary"},
		"text":     object{"type": "string"},
		"number":   number,
		"kind":     object{"type": "string", "enum": kinds},
		"id":       object{"type": "string", "pattern": "^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$", "description": "a UUID of version 7 in lower case, made by the client"},
		"farmId":   object{"type": "string", "pattern": "^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$"},
		"bbox":     object{"type": "array", "oneOf": []object{{"minItems": 4, "maxItems": 4}, {"minItems": 6, "maxItems": 6}}, "items": number},
		"datetime": text("RFC 3339 with zone, or start/end"),
		"limit":    object{"type": "integer", "minimum": 1, "maximum": mostPage, "default": usualPage},
		"cursor":   ref("id"),
		"sequence": object{"type": "integer", "minimum": 0, "default": 0},
		"health":   shape([]string{"status"}, object{"status": text("up, ready or not ready"), "version": text("of the program")}),
		"signIn":   shape([]string{"name", "password"}, object{"name": text("the sign-in"), "password": object{"type": "string", "format": "password"}, "code": text("of a second factor, where one is on")}),
		"who": shape([]string{"person", "farms"}, object{
			"person": shape(nil, object{"id": text("a UUID"), "name": text("the sign-in"), "display": text("as shown")}),
			"farms":  list(shape(nil, object{"id": ref("farmId"), "name": text("as shown"), "role": ref("role"), "invented": truth, "zone": text("IANA time zone"), "limits": ref("limits")})),
		}),
		"limits":        shape(nil, object{"blocks": list(ref("id")), "seasons": list(whole)}),
		"person":        shape([]string{"id", "role"}, object{"id": text("a UUID"), "name": text("the sign-in"), "display": text("as shown"), "role": ref("role"), "limits": ref("limits"), "second_factor": truth, "you": truth}),
		"people":        shape([]string{"people", "invitations"}, object{"people": list(ref("person")), "invitations": list(ref("grant"))}),
		"member":        shape([]string{"role"}, object{"role": ref("role"), "limits": ref("limits")}),
		"grant":         shape([]string{"id", "purpose", "state"}, object{"id": text("a UUID"), "purpose": object{"type": "string", "enum": []string{"invitation", "reset", "token"}}, "name": text("what or whom it is for"), "person": ref("any"), "by": ref("any"), "role": ref("role"), "limits": ref("limits"), "writes": truth, "created": text("RFC 3339"), "expires": text("RFC 3339"), "used": text("the day a link was used, or a token last"), "state": object{"type": "string", "enum": []string{"open", "used", "ended", "expired"}}}),
		"grantMade":     object{"allOf": []object{ref("grant"), shape([]string{"secret"}, object{"secret": text("shown this once and kept nowhere")})}},
		"invitationAsk": shape([]string{"name", "role"}, object{"name": text("whom it is for"), "role": ref("role"), "limits": ref("limits"), "days": whole}),
		"invitation":    shape([]string{"farm", "role"}, object{"farm": text("its name"), "role": ref("role"), "name": text("whom it is for"), "by": text("who invites"), "blocks": list(text("names of the blocks that are seen; absent: all")), "seasons": list(whole), "expires": text("RFC 3339")}),
		"secretAsk":     shape([]string{"secret"}, object{"secret": text("of the link")}),
		"acceptAsk":     shape([]string{"secret"}, object{"secret": text("of the link"), "name": text("a new sign-in; without one, who is signed in accepts"), "display": text("as shown"), "password": object{"type": "string", "format": "password"}}),
		"resetAsk":      shape([]string{"secret", "password"}, object{"secret": text("of the link"), "password": object{"type": "string", "format": "password"}}),
		"tokenAsk":      shape([]string{"name"}, object{"name": text("what it is for"), "writes": truth, "days": whole}),
		"tokens":        shape([]string{"tokens"}, object{"tokens": list(ref("grant"))}),
		"seenBy":        shape([]string{"people", "says"}, object{"people": list(ref("any")), "says": text("the same as a line")}),
		"account":       shape([]string{"sessions", "second_factor"}, object{"person": ref("any"), "sessions": list(ref("any")), "second_factor": shape(nil, object{"on": truth, "recovery_codes": whole})}),
		"passwordAsk":   shape([]string{"password", "new"}, object{"password": object{"type": "string", "format": "password"}, "new": object{"type": "string", "format": "password"}}),
		"passwordOnly":  shape([]string{"password"}, object{"password": object{"type": "string", "format": "password"}}),
		"codeKey":       shape([]string{"address", "key"}, object{"address": text("otpauth, for an authenticator"), "key": text("the same, for typing")}),
		"codeAsk":       shape([]string{"code"}, object{"code": text("six digits")}),
		"recovery":      shape([]string{"recovery"}, object{"recovery": list(text("a code, good once"))}),
		"role":          object{"type": "string", "enum": []records.Role{records.Owner, records.Applicator, records.Scout, records.Adviser, records.Viewer}},
		"baseMap":       shape([]string{"kind"}, object{"kind": object{"type": "string", "enum": []string{"none", "file", "server"}}, "name": text("as shown"), "attribution": text("to be shown beside the map"), "min_zoom": whole, "max_zoom": whole, "tiles": text("address with {z}, {x} and {y}"), "bounds": list(number)}),
		"link":          shape([]string{"href", "rel"}, object{"href": text("absolute"), "rel": text("a registered relation"), "type": text("media type"), "title": text("as shown")}),
		"landingPage":   shape([]string{"links"}, object{"title": text("name of the farm"), "description": text("what it is"), "invented": truth, "zone": text("IANA time zone"), "links": list(ref("link"))}),
		"conformance":   shape([]string{"conformsTo"}, object{"conformsTo": list(text("a class"))}),
		"collections":   shape([]string{"links", "collections"}, object{"links": list(ref("link")), "collections": list(ref("collection"))}),
		"collection":    shape([]string{"id", "links"}, object{"id": ref("kind"), "title": text("as shown"), "itemType": text("feature"), "crs": list(text("a coordinate system")), "extent": ref("any"), "links": list(ref("link"))}),
		"by":            shape(nil, object{"id": text("a UUID"), "name": text("as shown"), "role": ref("role")}),
		"problem": shape([]string{"type", "title", "status"}, object{
			"type": text("a reference below /problems/"), "title": text("what went wrong"), "status": whole, "detail": text("in this case"), "instance": text("the path asked for"),
			"key": text("name of the message"), "id": text("number in the server's log"),
			"errors": list(shape([]string{"detail"}, object{
				"detail": text("one thing at fault"), "key": text("name of the message"), "field": text("dotted path"), "pointer": text("JSON pointer"),
				"feature": whole, "part": whole, "ring": whole, "vertex": whole, "position": list(number), "entry": text("file of an archive, or table"), "line": whole, "byte": whole, "fix": text("what would mend it"),
			})),
		}),
	}
	for _, more := range []object{recordSchemas(), workSchemas(), layoutSchemas(), fieldSchemas(), mayiSchemas(), scoutingSchemas(), spraySchemas(), reviewSchemas(), keepingSchemas()} {
		for name, o := range more {
			all[name] = o
		}
	}
	return all
}

func recordSchemas() object {
	return object{
		"geometry": object{"type": "object", "nullable": true, "description": "a GeoJSON geometry (RFC 7946), longitude, latitude; a fourth number is a time in Unix seconds"},
		"feature": shape([]string{"type", "geometry", "properties"}, object{
			"type": object{"type": "string", "enum": []string{"Feature"}}, "id": ref("id"), "geometry": ref("geometry"), "properties": object{"type": "object", "nullable": true, "additionalProperties": true},
			"revision": whole, "etag": text("for If-Match"), "at": text("when the server took it"), "by": ref("by"), "why": text("the reason, if one was said"), "links": list(ref("link")),
		}),
		"featureCollection": shape([]string{"type", "features"}, object{
			"type": object{"type": "string", "enum": []string{"FeatureCollection"}}, "features": list(ref("feature")), "links": list(ref("link")),
			"numberMatched": whole, "numberReturned": whole, "timeStamp": text("when"),
		}),
		"revisions": shape([]string{"revisions"}, object{"revisions": list(shape(nil, object{
			"revision": whole, "sequence": whole, "etag": text("for If-Match"), "at": text("when"), "by": ref("by"), "why": text("the reason"), "deleted": truth, "hash": text("SHA-256 in the farm's chain"), "record": ref("feature"),
		}))}),
		"changes": shape([]string{"changes"}, object{"changes": object{"type": "array", "maxItems": 1000, "items": shape([]string{"op", "kind", "id"}, object{
			"op": object{"type": "string", "enum": []string{"put", "delete"}}, "kind": ref("kind"), "id": ref("id"), "record": ref("feature"),
			"base": object{"type": "integer", "nullable": true, "minimum": 0, "description": "revision replaced; null creates"}, "why": text("the reason"),
		})}}),
		"outcomes": shape([]string{"outcomes", "sequence"}, object{"sequence": whole, "outcomes": list(shape([]string{"id", "status"}, object{
			"id": text("as sent"), "status": whole, "revision": whole, "etag": text("for If-Match"), "current": whole, "problem": ref("problem"),
		}))}),
		"changesSince": shape([]string{"changes", "sequence", "more"}, object{"sequence": whole, "more": truth, "documents": object{"type": "object", "additionalProperties": text("entity tag of the farm's document of this name; absent while it was never written")}, "changes": list(shape(nil, object{
			"sequence": whole, "kind": ref("kind"), "id": ref("id"), "revision": whole, "deleted": truth, "record": ref("feature"),
		}))}),
	}
}

// workSchemas name the outer members; what stands inside them is told by the
// packages that make them.
func workSchemas() object {
	ground := ref("geometry")
	return object{
		"amount": shape([]string{"value", "unit"}, object{"value": number, "unit": text("as on the label: fl_oz, oz_wt, gal, L, kg")}),
		"treatedAreaAsk": shape(nil, object{
			"blocks": list(ref("id")), "rows": object{"type": "object", "additionalProperties": list(whole)}, "area": ground, "pattern": text("broadcast, band, spot, drench or alternate-middles"),
			"band_width_m": number, "sides": whole, "setbacks": list(ref("any")), "wind_from_deg": number, "products": list(ref("any")), "carrier": ref("any"), "tank": ref("amount"), "start": text("RFC 3339"), "end": text("RFC 3339"), "harvest_on": text("a date"),
			"wind_speed_m_s": number, "stretches": object{"type": "object", "additionalProperties": list(shape([]string{"row", "from", "to"}, object{"row": whole, "from": whole, "to": whole}))},
			"method": text("how spray leaves the machine"), "droplets": text("a class of ANSI/ASAE S572"), "height_m": number, "sprayer": text("id of one of the farm's"), "rotation": text("a programme"), "count_multi_site": truth, "pass": ref("id"),
		}),
		"treatedArea": shape([]string{"areas", "checks"}, object{
			"areas": object{"type": "object", "additionalProperties": number}, "treated": ground, "withheld": ground, "row_length_m": object{"type": "number", "nullable": true}, "plants": object{"type": "integer", "nullable": true},
			"distances": list(ref("any")), "totals": list(ref("any")), "carrier": object{"nullable": true, "allOf": []object{ref("amount")}}, "tanks": object{"type": "object", "nullable": true},
			"checks": list(shape([]string{"rule", "answer", "why"}, object{"rule": text("what was looked at"), "answer": object{"type": "string", "enum": []string{"ok", "caution", "stop"}}, "why": text("in words"), "source": text("where the rule stands"),
				"measured": shape(nil, object{"value": number, "limit": number, "unit": text("of both")}), "block": ref("id"), "at": list(number), "ground": ground, "area_m2": number, "share": number, "passes": list(ref("id"))})),
			"exclusion": shape(nil, object{"distance_m": number, "ground": ground, "beyond_m2": number, "within": list(ref("id"))}), "mixing": list(text("a step")), "labels": list(ref("any")),
		}),
		"hotSpotsAsk": shape([]string{"block"}, object{
			"block": ref("id"), "as_of": text("RFC 3339: rows as they stood then; finds, visits and removals up to then"), "causes": list(text("a cause")), "states": list(text("a state")), "along_m": number, "across_m": number, "min_finds": whole, "gap_plants": whole, "margin_plants": whole, "inspect_rows": whole, "section_limit": number, "smooth": truth, "scan": ref("any"),
		}),
		"hotSpots": shape([]string{"inspected", "infected", "groups", "list"}, object{
			"inspected": whole, "infected": whole, "groups": list(ref("any")), "isolated": list(ref("any")), "labels": list(whole), "scan": list(ref("any")), "runs": list(ref("any")),
			"list": object{"type": "object", "additionalProperties": list(ref("any"))}, "why_no_p": object{"type": "string", "nullable": true}, "cautions": list(text("a caution")),
			"rate": ref("any"), "plants_by_state": object{"type": "object", "additionalProperties": whole}, "standing": object{"type": "integer", "nullable": true}, "not_looked_at": object{"type": "integer", "nullable": true},
			"choices": list(shape([]string{"name", "plants", "signed", "text"}, object{"name": object{"type": "string", "enum": []hotspot.ChoiceName{hotspot.ConfirmedOnly, hotspot.WithBetween, hotspot.WithMargin, hotspot.WholeSection, hotspot.WholePlanting}},
				"group": object{"type": "integer", "nullable": true}, "plants": whole, "row_length_m": object{"type": "number", "nullable": true}, "share_of_block": object{"type": "number", "nullable": true},
				"signed": truth, "section": ref("any"), "rate": ref("any"), "limit": object{"type": "number", "nullable": true}, "above_limit": object{"type": "boolean", "nullable": true}, "text": text("what it takes and what stands behind it")})),
			"why_no_list": object{"type": "string", "nullable": true}, "smoothed": ref("any"), "counts": list(ref("any")),
		}),
		"importForm": shape([]string{"file", "kind"}, object{"file": ref("binary"), "kind": object{"type": "string", "enum": intake.Imported}, "zone": text("IANA time zone of times that carry none"),
			"system": text("coordinate system of a file that names none, EPSG:n"), "day_order": text("day-first or month-first"), "columns": text("JSON object: a column's header to a field"), "swap": text("true: longitude and latitude are swapped")}),
		"importAnswers": shape(nil, object{"kind": object{"type": "string", "enum": intake.Imported}, "zone": text("IANA time zone"), "system": text("EPSG:n"),
			"day_order": text("day-first or month-first"), "columns": ref("any"), "swap": truth}),
		"proposal": shape([]string{"id", "state", "outcome", "features"}, object{
			"id": ref("id"), "expires_at": text("when it is forgotten"), "kind": ref("kind"), "file": text("its name"),
			"state":    object{"type": "string", "enum": []string{"reading", "proposed", "refused", "stored", "undone"}},
			"progress": shape(nil, object{"done": whole, "total": whole, "features": whole}), "problem": text("why nothing can be read"),
			"outcome": object{"type": "string", "enum": []string{"", "accept", "repair", "ask", "reject"}}, "format": text("of the file"), "columns": ref("any"),
			"features": list(shape(nil, object{"number": whole, "id": ref("id"), "name": text("as the file has it"), "at": ref("any"), "layer": text("table, folder or file it came from"),
				"state":   object{"type": "string", "enum": []string{"ready", "repaired", "ask", "refused", "present"}},
				"choices": list(object{"type": "string", "enum": []string{"read", "repaired", "reordered", "outline"}}),
				"feature": ref("feature"), "as_read": ref("any"), "shapes": ref("any"), "areas": ref("any"), "before_m2": number, "said": list(ref("any")), "overlaps": list(ref("any")), "present": ref("any")})),
			"blocks": list(ref("any")), "tracks": list(ref("any")), "points": list(ref("any")), "other": ref("any"), "notices": list(ref("any")), "errors": list(ref("any")), "questions": list(ref("any")),
		}),
		"exports": shape([]string{"exports"}, object{"exports": list(shape([]string{"name", "files"}, object{"name": text("farm, or a kind"), "title": text("as shown"), "count": whole,
			"files": list(shape([]string{"form", "href"}, object{"form": text("ending of the file"), "format": text("as people call it"), "href": text("absolute"), "says": list(text("what reads differently in this format"))}))}))}),
		"importUndone": shape([]string{"undone"}, object{"undone": whole}),
		"importTake":   shape([]string{"take"}, object{"take": list(shape([]string{"number"}, object{"number": whole, "as": text("one of the feature's choices"), "properties": ref("any")})), "why": text("the reason")}),
	}
}
