// Package repair mends outlines by the non-zero rule and reports what it changed,
// where, and by how many square metres. It decides nothing: a caller shows the
// changes, and asks where a Result is Doubtful.
//
// All rings of an outline are laid into one arrangement of faces: the sides are
// cut where they meet, the faces between them walked by angle, and the way every
// ring winds round a face tells whether it is ground. A face is ground of a part
// when the part's shell winds round it, either way and however often, and none of
// its holes does. Ground is what is ground of at least one part. So what a walk
// goes over twice counts once, parts that overlap or lie side by side become one,
// holes that overlap become one, and what a spike or a path out and back encloses
// is nothing.
//
// Outlines are worked in degrees as they stand, as valid judges them and RFC 7946
// draws them: no corner moves, and a place that lies on a side in the file lies on
// it here. A metric frame would bend long sides by millimetres and open gaps
// between neighbours. New corners, where sides cross, are within 10 nm.
package repair
