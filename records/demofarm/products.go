package demofarm

// Labels as typed, with obviously invented names and registration numbers that
// no agency gives out. Active ingredients and codes are real, rates, intervals
// and caps are for demonstration and not for field use.
type ingredient struct {
	Name   string            `json:"name"`
	Amount string            `json:"amount"`
	Code   map[string]string `json:"code"`
}

// labelSetback is a distance the label asks for.
type labelSetback struct {
	From     string  `json:"from"`
	Distance float64 `json:"distance_m"`
	Side     string  `json:"side"`
	Edge     string  `json:"from_edge,omitempty"`
}

// more is what only some labels say.
type more struct {
	Form     string         `json:"form,omitempty"`
	Setbacks []labelSetback `json:"setbacks,omitempty"`
	Bloom    string         `json:"bloom,omitempty"`
	Droplets string         `json:"droplets_finest,omitempty"`
}

type rate struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Per    string  `json:"per"`
	Crop   string  `json:"crop"`
	Target string  `json:"target"`
}

type cap struct {
	What  string  `json:"what"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"`
	Per   string  `json:"per"`
}

type product struct {
	Name         string       `json:"name"`
	Registration string       `json:"registration"`
	Ingredients  []ingredient `json:"ingredients"`
	Rates        []rate       `json:"rates"`
	PHIDays      int          `json:"phi_days"`
	REIHours     int          `json:"rei_hours"`
	IntervalDays int          `json:"interval_days,omitempty"`
	Caps         []cap        `json:"caps,omitempty"`
	Restricted   bool         `json:"restricted"`
	Note         string       `json:"note"`
	more
}

const notForField = "Invented label for demonstration; not for field use."

func frac(c string) map[string]string { return map[string]string{"frac": c} }
func irac(c string) map[string]string { return map[string]string{"irac": c} }
func hrac(c string) map[string]string { return map[string]string{"hrac": c} }

var products = []product{
	{"Demo Strobilurin 20WG", "0-0001", []ingredient{{"pyraclostrobin", "20 %", frac("11")}},
		[]rate{{14, "oz_wt", "acre", "caneberries", "rusts"}}, 0, 12, 7, []cap{{What: "uses", Value: 4, Per: "year"}}, false, notForField, more{}},
	{"Demo Azole 40WP", "0-0002", []ingredient{{"myclobutanil", "40 %", frac("3")}},
		[]rate{{2.5, "oz_wt", "acre", "caneberries", "rusts"}}, 0, 24, 10, []cap{{What: "product", Value: 10, Unit: "oz_wt", Per: "year"}}, false, notForField, more{}},
	{"Demo Azole 42EC", "0-0003", []ingredient{{"propiconazole", "41.8 %", frac("3")}},
		[]rate{{6, "fl_oz", "acre", "caneberries", "rusts"}}, 30, 12, 10, nil, false, notForField, more{}},
	{"Demo Shield 80DG", "0-0004", []ingredient{{"captan", "80 %", frac("M04")}},
		[]rate{{2.5, "lb", "acre", "caneberries", "fruit rots"}}, 3, 48, 7, nil, false, notForField, more{}},
	{"Demo Polysulfide L", "0-0005", []ingredient{{"calcium polysulfide", "29 %", frac("M02")}},
		[]rate{{10, "gal", "acre", "caneberries, dormant", "cane diseases"}}, 0, 48, 0, nil, false, notForField + " Caustic; burns leaves later than 1/4 in green.", more{}},
	{"Demo Organo 57EC", "0-0006", []ingredient{{"malathion", "57 %", irac("1B")}},
		[]rate{{3, "pt", "acre", "caneberries", "fruit feeders"}}, 1, 12, 7, nil, false, notForField + " Toxic to bees.", more{Form: "emulsifiable", Bloom: "evening"}},
	{"Demo Pyre 2EC", "0-0007", []ingredient{{"bifenthrin", "25.1 %", irac("3A")}},
		[]rate{{6.4, "fl_oz", "acre", "caneberries", "weevils, cane borer"}}, 3, 12, 7, nil, true, notForField + " Restricted use.",
		more{Form: "emulsifiable", Bloom: "evening", Setbacks: []labelSetback{{"water", 7.62, "all", ""}}}},
	{"Demo Spin 25WG", "0-0008", []ingredient{{"spinetoram", "25 %", irac("5")}},
		[]rate{{6, "oz_wt", "acre", "caneberries", "fruit flies"}}, 1, 4, 4, []cap{{What: "product", Value: 19.5, Unit: "oz_wt", Per: "year"}}, false, notForField, more{}},
	{"Demo Nicotin 4.6F", "0-0009", []ingredient{{"imidacloprid", "42.8 %", irac("4A")}},
		[]rate{{0.03, "fl_oz", "plant", "caneberries", "cane borer, drench"}}, 7, 12, 0, []cap{{What: "uses", Value: 1, Per: "year"}}, false, notForField + " Not in bloom.", more{Form: "flowable", Bloom: "never"}},
	{"Demo Bipyr 2L", "0-0010", []ingredient{{"paraquat", "30.1 %", hrac("22")}},
		[]rate{{3, "pt", "acre", "caneberries, in the strip", "weeds"}}, 0, 24, 0, nil, true, notForField + " Restricted use. Deadly if swallowed.",
		more{Droplets: "medium", Setbacks: []labelSetback{{"well", 15.24, "all", "mixing-place"}}}},
}
