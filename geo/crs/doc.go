// Package crs reads coordinate systems, from the text of a .prj file, from the
// well-known text of other files or from a name such as EPSG:26915, and turns
// the x, y of a file into longitude, latitude in degrees WGS 84 and back.
//
// x is always east and y north, or longitude and latitude, whatever order the
// system's axes are listed in: that is what .prj files, GeoPackage and the crs
// member of old GeoJSON mean by them.
//
// Four projections are read: transverse Mercator (Krüger's series to the sixth
// order, Karney 2011), Lambert conformal conic with one or two standard
// parallels and Albers equal area (Snyder, Map Projections: A Working Manual,
// USGS Professional Paper 1395, 1987, chapters 14 and 15) and Web Mercator
// (IOGP Guidance Note 7-2, method 1024). Everything else is refused by its
// name, and so is every datum that lies farther from WGS 84 than about two
// metres: NAD27, OSGB36, ED50 and their like are tens to hundreds of metres
// off, and the grids that would mend that are not carried.
//
// Error bound: positions and coordinates are within 50 nm of PROJ 9.1.1 over
// the area of use of every system in the table and within 5 µm wherever a
// result is given at all; what is not placed that well is refused as outside.
// The datum is another matter: NAD83, ETRS89 and other plate-fixed datums are
// taken as WGS 84, which puts the ground one to two metres off
// (System.NearWGS84 and System.Off say so).
package crs
