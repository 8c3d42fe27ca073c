package intake

import (
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
)

// Topic is what a question is about; the answer goes into the option of the
// same name.
type Topic string

// The topics.
const (
	TopicSystem   Topic = "system"    // which coordinate system; Options.System
	TopicDayOrder Topic = "day-order" // day or month first; Options.DayOrder
	TopicColumns  Topic = "columns"   // what a spreadsheet's columns hold; Options.Columns
	TopicZone     Topic = "zone"      // which time zone; Options.Zone
	TopicAxes     Topic = "axes"      // whether longitude and latitude are swapped; Options.Swap
)

// Question is something only the person who brings the file can know.
type Question struct {
	fault.Detail
	Topic   Topic
	Choices []Choice // most likely first; empty where the answer is free
}

// Choice is one answer.
type Choice struct {
	Value  string // what Options takes
	Text   words.Text
	Centre *geo.Position    // where the file's shapes would lie
	Shape  geo.Geometry     // the first of them, there; may be empty
	Area   geo.SquareMetres // of an outline, there; 0 for none
}

// ask keeps the file from being taken until there is an answer.
func (p *Proposal) ask(q Question) { p.Questions = append(p.Questions, q) }
