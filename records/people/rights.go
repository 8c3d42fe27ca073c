package people

import "caneward/records"

// Verb is what somebody wants to do with records of a kind.
type Verb string

// The verbs.
const (
	Read   Verb = "read"
	Write  Verb = "write"  // create, replace, delete
	Import Verb = "import" // take records over from a file
	Govern Verb = "govern" // say who is on the farm and what they see
	Keep   Verb = "keep"   // the farm as a whole: who saw what, taking it away, bringing it in, erasing it
)

var writes = map[records.Role][]records.Kind{
	records.Applicator: {records.Passes, records.Tracks, records.Products, records.Stages, records.Visits, records.Finds, records.Removals},
	records.Scout:      {records.Visits, records.Finds, records.Samples, records.Stages, records.Removals},
	records.Adviser:    {records.Finds, records.Visits, records.Samples, records.Reviews, records.Removals, records.Stages},
}

// Roles lists every role, most rights first.
var Roles = []records.Role{records.Owner, records.Applicator, records.Scout, records.Adviser, records.Viewer}

// May is the table of rights: everybody on a farm reads everything, the owner
// writes everything and alone imports, governs and keeps the farm, the others write what their work makes.
// Removals by an applicator or a scout only carry out a signed list; records/entry
// holds them to it.
// An unknown role may nothing.
func May(role records.Role, verb Verb, kind records.Kind) bool {
	switch {
	case !IsRole(role):
		return false
	case verb == Read || role == records.Owner:
		return true
	case verb != Write:
		return false
	}
	for _, k := range writes[role] {
		if k == kind {
			return true
		}
	}
	return false
}

// IsRole reports whether the role is one of the five.
func IsRole(role records.Role) bool {
	for _, r := range Roles {
		if r == role {
			return true
		}
	}
	return false
}
