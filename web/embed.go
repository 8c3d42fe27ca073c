package web

import "embed"

// dist is the built page. The prefix all: takes in .gitkeep, so that a fresh
// clone builds before the page does.
//
//go:embed all:dist
var dist embed.FS
