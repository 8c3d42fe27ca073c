package overlay

// UnionWithSlivers is Union before slivers are dropped, to compare with
// engines that keep them.
var UnionWithSlivers = unionChecked
