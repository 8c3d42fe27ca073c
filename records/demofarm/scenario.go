// Package demofarm makes the one invented scenario the program ships: a farm
// with its blocks, neighbours, two seasons of scouting and a season of passes.
// Every record goes through the same way in as anybody's (records/entry). The
// same seed gives the same farm, ids and dates included. Names are invented and
// the ground lies on open water, so that no real farm is meant.
package demofarm

import (
	"caneward/geo"
)

// Ids and sign-ins fixed by the contract.
const (
	Farm     = "demo"
	FarmTwo  = "demo-two"
	Password = "demo-farm"
	Zone     = "America/New_York"
)

// Origin is on the open water of a large lake: nobody's ground.
var Origin = geo.Position{-81.52, 41.94}

// corner is metres east and north of Origin.
type corner struct{ e, n float64 }

type blockPlan struct {
	name, crop, cultivar, planted string
	outline                       []corner
	hole                          []corner
	rowSpacing, plantSpacing      geo.Metres
	bearing                       geo.Degrees
	headland                      geo.Metres
}

// The lie of the land: a stream down the east side, a pond inside Pond Block,
// the neighbour's house north of the road, wild brambles on the west edge.
var blockPlans = []blockPlan{
	{
		name: "Gate Block", crop: "blackberry", cultivar: "semi-erect, thornless (invented)", planted: "2019-04-10",
		outline:    []corner{{0, 0}, {61.6, 3.2}, {60, 49}, {-1.6, 45.8}},
		rowSpacing: 3.05, plantSpacing: 1.52, bearing: 3, headland: 6,
	},
	{
		name: "Long Rows", crop: "blackberry", cultivar: "erect, thornless (invented)", planted: "2021-03-28",
		outline:    []corner{{72.7, 4.7}, {118.5, 7.9}, {114.6, 93.2}, {69.5, 88.5}},
		rowSpacing: 3.05, plantSpacing: 0.91, bearing: 357.5, headland: 7,
	},
	{
		name: "Pond Block", crop: "blackberry", cultivar: "semi-erect, thornless (invented)", planted: "2018-04-02",
		outline:    []corner{{0, 60}, {58.5, 63.2}, {55.3, 120.1}, {-3.2, 115.3}},
		hole:       []corner{{22.1, 82.2}, {34.8, 80.6}, {37.9, 91.6}, {31.6, 98.8}, {21.3, 94.8}},
		rowSpacing: 3.05, plantSpacing: 1.52, bearing: 93, headland: 6,
	},
	{
		name: "Hill Block", crop: "raspberry", cultivar: "red, primocane-fruiting (invented)", planted: "2022-04-15",
		outline:    []corner{{0, 134.3}, {31.6, 129.6}, {52.1, 135.9}, {56.9, 169.1}, {14.2, 178.5}, {-4.7, 161.2}},
		rowSpacing: 2.74, plantSpacing: 0.61, bearing: 35, headland: 6,
	},
	{
		name: "Creek Block", crop: "blackberry", cultivar: "trailing (invented)", planted: "2020-04-06",
		outline:    []corner{{71.1, 101.1}, {115.3, 104.3}, {113, 146.9}, {101.1, 161.2}, {67.9, 156.4}},
		rowSpacing: 3.05, plantSpacing: 1.83, bearing: 357.5, headland: 6,
	},
	{
		name: "Black Caps", crop: "black raspberry", cultivar: "black (invented)", planted: "2023-04-20",
		outline:    []corner{{-50.6, 4.7}, {-12.6, 6.3}, {-14.2, 52.1}, {-52.1, 49}},
		rowSpacing: 2.74, plantSpacing: 1.07, bearing: 2, headland: 6,
	},
	{
		name: "Trial Strip", crop: "blackberry", cultivar: "primocane-fruiting (invented)", planted: "2024-04-08",
		outline:    []corner{{-47.4, 66.4}, {-17.4, 67.9}, {-19, 101.1}, {-49, 98}},
		rowSpacing: 3.05, plantSpacing: 0.91, bearing: 2, headland: 6,
	},
}

type surroundingsPlan struct {
	kind, name string
	shape      string // "point", "line", "ground"
	at         []corner
	byEye      bool
}

var surroundingsPlans = []surroundingsPlan{
	{kind: "water", name: "East stream", shape: "line", byEye: true,
		at: []corner{{131.1, -47.4}, {128.8, -15.8}, {132.7, 15.8}, {128, 47.4}, {130.3, 79}, {124.8, 110.6}, {124, 150.1}, {118.5, 178.5}, {124.8, 221.2}}},
	{kind: "water", name: "Pond", shape: "ground", at: []corner{{22.9, 83.3}, {34, 82.2}, {36.7, 91.2}, {31.2, 97.2}, {22.5, 94}}},
	{kind: "well", name: "Yard well", shape: "point", at: []corner{{-26.9, -14.2}}},
	{kind: "dwelling", name: "Neighbour's house", shape: "ground", at: []corner{{47.4, 199.1}, {58.5, 199.1}, {58.5, 208.6}, {47.4, 208.6}}},
	{kind: "hives", name: "Hives by the hedge", shape: "point", at: []corner{{-61.6, 116.9}}},
	{kind: "wild-brambles", name: "Hedge with wild brambles", shape: "ground", byEye: true,
		at: []corner{{-66.4, -7.9}, {-58.5, -7.9}, {-60, 55.3}, {-61.6, 109}, {-69.5, 109}, {-67.9, 47.4}}},
	{kind: "road", name: "Lane", shape: "line", at: []corner{{-79, -23.7}, {158, -17.4}}},
	{kind: "boundary", name: "Farm boundary", shape: "line",
		at: []corner{{-71.1, -31.6}, {137.5, -26.9}, {134.3, 189.6}, {-72.7, 186.4}, {-71.1, -31.6}}},
}

// outbreak is a group of infected plants round a first one: the further from
// it, the rarer, and four times as likely along the row as across.
type outbreak struct {
	block, cause string
	row, plant   int
	finds        int
	season       int // first season it shows
}

var outbreaks = []outbreak{
	{block: "Long Rows", cause: "orange-rust", row: 5, plant: 34, finds: 26, season: 2025},
	{block: "Pond Block", cause: "orange-rust", row: 4, plant: 9, finds: 18, season: 2026},
}

// scatter is finds thrown evenly over a block.
type scatter struct {
	block, cause string
	finds        int
	season       int
}

var scatters = []scatter{
	{"Long Rows", "orange-rust", 5, 2025},
	{"Gate Block", "orange-rust", 6, 2026},
	{"Creek Block", "orange-rust", 5, 2026},
	{"Black Caps", "orange-rust", 4, 2025},
	{"Gate Block", "cane-leaf-rust", 14, 2025},
	{"Creek Block", "cane-leaf-rust", 16, 2026},
	{"Long Rows", "cane-leaf-rust", 10, 2026},
	{"Hill Block", "late-leaf-rust", 12, 2026},
	{"Gate Block", "cane-borer-gall", 12, 2026},
	{"Trial Strip", "cane-borer-gall", 9, 2026},
	{"Creek Block", "crown-gall", 5, 2025},
	{"Pond Block", "other", 6, 2026},
}
