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
		outline:    []corner{{0, 0}, {78, 4}, {76, 62}, {-2, 58}},
		rowSpacing: 3.05, plantSpacing: 1.52, bearing: 3, headland: 6,
	},
	{
		name: "Long Rows", crop: "blackberry", cultivar: "erect, thornless (invented)", planted: "2021-03-28",
		outline:    []corner{{92, 6}, {150, 10}, {145, 118}, {88, 112}},
		rowSpacing: 3.05, plantSpacing: 0.91, bearing: 357.5, headland: 7,
	},
	{
		name: "Pond Block", crop: "blackberry", cultivar: "semi-erect, thornless (invented)", planted: "2018-04-02",
		outline:    []corner{{0, 76}, {74, 80}, {70, 152}, {-4, 146}},
		hole:       []corner{{28, 104}, {44, 102}, {48, 116}, {40, 125}, {27, 120}},
		rowSpacing: 3.05, plantSpacing: 1.52, bearing: 93, headland: 6,
	},
	{
		name: "Hill Block", crop: "raspberry", cultivar: "red, primocane-fruiting (invented)", planted: "2022-04-15",
		outline:    []corner{{0, 170}, {40, 164}, {66, 172}, {72, 214}, {18, 226}, {-6, 204}},
		rowSpacing: 2.74, plantSpacing: 0.61, bearing: 35, headland: 6,
	},
	{
		name: "Creek Block", crop: "blackberry", cultivar: "trailing (invented)", planted: "2020-04-06",
		outline:    []corner{{90, 128}, {146, 132}, {143, 186}, {128, 204}, {86, 198}},
		rowSpacing: 3.05, plantSpacing: 1.83, bearing: 357.5, headland: 6,
	},
	{
		name: "Black Caps", crop: "black raspberry", cultivar: "black (invented)", planted: "2023-04-20",
		outline:    []corner{{-64, 6}, {-16, 8}, {-18, 66}, {-66, 62}},
		rowSpacing: 2.74, plantSpacing: 1.07, bearing: 2, headland: 6,
	},
	{
		name: "Trial Strip", crop: "blackberry", cultivar: "primocane-fruiting (invented)", planted: "2024-04-08",
		outline:    []corner{{-60, 84}, {-22, 86}, {-24, 128}, {-62, 124}},
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
		at: []corner{{166, -60}, {163, -20}, {168, 20}, {162, 60}, {165, 100}, {158, 140}, {157, 190}, {150, 226}, {158, 280}}},
	{kind: "water", name: "Pond", shape: "ground", at: []corner{{29, 105.5}, {43, 104}, {46.5, 115.5}, {39.5, 123}, {28.5, 119}}},
	{kind: "well", name: "Yard well", shape: "point", at: []corner{{-34, -18}}},
	{kind: "dwelling", name: "Neighbour's house", shape: "ground", at: []corner{{60, 252}, {74, 252}, {74, 264}, {60, 264}}},
	{kind: "hives", name: "Hives by the hedge", shape: "point", at: []corner{{-78, 148}}},
	{kind: "wild-brambles", name: "Hedge with wild brambles", shape: "ground", byEye: true,
		at: []corner{{-84, -10}, {-74, -10}, {-76, 70}, {-78, 138}, {-88, 138}, {-86, 60}}},
	{kind: "road", name: "Lane", shape: "line", at: []corner{{-100, -30}, {200, -22}}},
	{kind: "boundary", name: "Farm boundary", shape: "line",
		at: []corner{{-90, -40}, {174, -34}, {170, 240}, {-92, 236}, {-90, -40}}},
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
	{block: "Long Rows", cause: "orange-rust", row: 6, plant: 40, finds: 26, season: 2025},
	{block: "Pond Block", cause: "orange-rust", row: 4, plant: 12, finds: 18, season: 2026},
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
