package crs

import (
	"math"
	"strconv"
	"strings"
)

// WKT is the system's text in the ESRI dialect of WKT 1, one line without an
// end, as a .prj file holds it. Parse reads the same parameters back from it,
// bit for bit, and the same code where the table has one. The zero System has
// none.
func (s *System) WKT() string {
	if s.datum == nil {
		return ""
	}
	if s.method == degrees {
		return s.geogcs(s.name)
	}
	var b strings.Builder
	b.WriteString(`PROJCS["` + esriName(s.name) + `",` + s.geogcs("") + `,PROJECTION["` + esriMethod[s.method] + `"]`)
	put := func(name string, v float64) { b.WriteString(`,PARAMETER["` + name + `",` + decimal(v) + `]`) }
	p := s.p
	put("False_Easting", p.east)
	put("False_Northing", p.north)
	put("Central_Meridian", p.lon0)
	switch s.method {
	case transverseMercator:
		put("Scale_Factor", p.scale)
		put("Latitude_Of_Origin", p.lat0)
	case lambertConic, albersConic:
		put("Standard_Parallel_1", p.sp1)
		if p.sp2 != p.sp1 || s.method == albersConic {
			put("Standard_Parallel_2", p.sp2)
		}
		if p.scale != 1 || p.sp2 == p.sp1 && s.method == lambertConic {
			put("Scale_Factor", p.scale)
		}
		put("Latitude_Of_Origin", p.lat0)
	case pseudoMercator:
		put("Standard_Parallel_1", 0)
		put("Auxiliary_Sphere_Type", 0)
	}
	b.WriteString(`,UNIT["` + esriUnit(s.unit) + `",` + decimal(s.unit.metres) + `]]`)
	return b.String()
}

// geogcs is the geographic system; name is used where the datum has none of its
// own in this dialect.
func (s *System) geogcs(name string) string {
	d := s.datum
	gcs, frame := d.gcs, d.esri
	if gcs == "" {
		if name == "" {
			name = d.name
		}
		gcs = "GCS_" + esriName(name)
	}
	if frame == "" {
		frame = "D_" + esriName(d.name)
	}
	// The sphere of the first Web Mercator texts goes back to the ellipsoid, as
	// the later texts have it.
	a, inverse := s.figure.a, 0.0
	if s.figure.f == 0 {
		a, inverse = d.figure.a, d.inverse
	} else {
		inverse = s.inverse
	}
	spheroid := "GRS_1980"
	if math.Abs(inverse-298.257223563) < 1e-7 {
		spheroid = "WGS_1984"
	}
	return `GEOGCS["` + gcs + `",DATUM["` + frame + `",SPHEROID["` + spheroid + `",` + decimal(a) + `,` + decimal(inverse) +
		`]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`
}

var esriMethod = map[method]string{
	transverseMercator: "Transverse_Mercator", lambertConic: "Lambert_Conformal_Conic",
	albersConic: "Albers", pseudoMercator: "Mercator_Auxiliary_Sphere",
}

func esriUnit(u unit) string {
	switch u {
	case metre:
		return "Meter"
	case foot:
		return "Foot"
	case surveyFoot:
		return "Foot_US"
	}
	return esriName(u.name)
}

// esriName keeps letters and digits, and an underscore for each run of the rest.
func esriName(name string) string {
	words := strings.FieldsFunc(name, func(c rune) bool {
		return (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9')
	})
	if len(words) == 0 {
		return "unnamed"
	}
	return strings.Join(words, "_")
}

// decimal is the shortest text that gives the number back, never an integer.
func decimal(v float64) string {
	t := strconv.FormatFloat(v, 'f', -1, 64)
	if !strings.Contains(t, ".") {
		t += ".0"
	}
	return t
}
