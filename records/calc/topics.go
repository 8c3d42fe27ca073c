package calc

import (
	"caneward/blocks/words"
	"caneward/records/quantity"
)

// Sources named more than once. Full titles stand in the worked examples.
const (
	ours        = "arithmetic; common practice, no source"
	nyGrapes    = "Cornell Cooperative Extension, 2024 New York and Pennsylvania grape guidelines, Table 6.3.1"
	spacing     = "K. D. Coder, Univ. of Georgia, trees per acre by spacing"
	rowFeet     = "trade article on per-acre spray dose by row feet, April 2014"
	calibration = "extension calibration by the 5940 and 46.4 formulas (Albany County, Wyoming); 5,940 = 43,560 x 12 / 88"
	ounces      = "LSU AgCenter, \"Ounces equal gallons\" sprayer calibration: a course of 1/128 acre"
	backpack    = "NC State Extension, backpack sprayer calibration worksheet"
	blockSheet  = "UMass Amherst block-specific sprayer calibration worksheet"
	record110   = "7 CFR 110.3; Montana State Univ. MT200214AG"
)

// Exact figures of the US system: 1 acre = 43,560 square feet, 1 gallon = 128
// fluid ounces, 1 mile = 5,280 feet.
var (
	squareFeetPerAcre = quantity.Whole(43560)
	squareMetresPerHa = quantity.Whole(10000)
	ozPerGallon       = quantity.Whole(128)
	inchesPerFoot     = quantity.Whole(12)
	feetPerMile       = quantity.Whole(5280)
	secondsPerHour    = quantity.Whole(3600)
	hundred           = quantity.Whole(100)
	thousand          = quantity.Whole(1000)
)

// figure is a topic whose answer is one number in one unit.
func figure(unit, formula, source string, how words.Message, f func(inputs) quantity.Exact, keys ...key) topic {
	return topic{keys: keys, formula: formula, source: source, how: how,
		do: func(in inputs) (result, error) { return result{value: f(in), unit: unit}, nil }}
}

// ownUnit is a topic whose answer is in the unit of a rate: the optional key
// "unit" names it.
func ownUnit(suffix, formula, source string, how words.Message, f func(inputs) quantity.Exact, keys ...key) topic {
	return topic{keys: append(keys, word("unit").maybe()), formula: formula, source: source, how: how,
		do: func(in inputs) (result, error) {
			unit := rateUnit + suffix
			if in.has("unit") {
				u, err := quantity.ParseAmountUnit(in.text("unit"))
				if err != nil {
					return result{}, onKey("unit", err)
				}
				unit = string(u) + suffix
			}
			return result{value: f(in), unit: unit}, nil
		}}
}

// rateUnit stands where nobody said what unit the rate is in.
const rateUnit = "unit of the rate"

func tankKeys(more ...key) []key {
	return append([]key{size("treated_acres"), size("gpa")}, more...)
}

var topics = map[string]topic{
	"plants_per_acre": figure("plants/acre", "43,560 / (row spacing ft x in-row spacing ft)", spacing,
		words.New("calc-plants-per-acre",
			"The gross figure: real rows end at headlands, posts and gaps, and hold fewer.",
			"La cifra bruta: las hileras reales terminan en cabeceras, postes y huecos, y tienen menos."),
		func(in inputs) quantity.Exact {
			return squareFeetPerAcre.Over(in.num("row_spacing_ft").Times(in.num("in_row_ft")))
		}, size("row_spacing_ft"), size("in_row_ft")),

	"plants_per_hectare": figure("plants/ha", "10,000 / (row spacing m x in-row spacing m)", ours,
		words.New("calc-plants-per-hectare",
			"The gross figure: real rows end at headlands, posts and gaps, and hold fewer.",
			"La cifra bruta: las hileras reales terminan en cabeceras, postes y huecos, y tienen menos."),
		func(in inputs) quantity.Exact {
			return squareMetresPerHa.Over(in.num("row_spacing_m").Times(in.num("in_row_m")))
		}, size("row_spacing_m"), size("in_row_m")),

	"row_feet_per_acre": figure("ft/acre", "43,560 / row spacing ft", rowFeet,
		words.New("calc-row-feet-per-acre",
			"Feet of row on one acre planted edge to edge.",
			"Pies de hilera en un acre plantado de borde a borde."),
		func(in inputs) quantity.Exact { return squareFeetPerAcre.Over(in.num("row_spacing_ft")) },
		size("row_spacing_ft")),

	"rate_acre_to_1000_row_ft": {
		keys:    []key{size("rate_per_acre"), word("unit"), word("out_unit").maybe(), size("row_spacing_ft")},
		formula: "rate per acre / (43,560 / row spacing ft) x 1,000", source: rowFeet,
		how: words.New("calc-acre-to-row-feet",
			"The per-acre rate spread over its feet of row; only for a label whose acre is an acre of planting. {ounce}",
			"La dosis por acre repartida en sus pies de hilera; solo para una etiqueta cuyo acre es un acre de plantación. {ounce}"),
		do: rateToRowFeet,
	},

	"product_from_row_ft_rate": ownUnit("", "rate per 1,000 row ft x rows x row length ft / 1,000", ours,
		words.New("calc-product-row-feet",
			"Product for the row feet, in the unit of the rate.",
			"Producto para los pies de hilera, en la unidad de la dosis."),
		func(in inputs) quantity.Exact {
			return in.num("rate_per_1000_row_ft").Times(in.num("rows")).Times(in.num("row_length_ft")).Over(thousand)
		}, amount("rate_per_1000_row_ft"), count("rows"), amount("row_length_ft")),

	"treated_acres_band": figure("acre", "block acres x (band in / 12) / row spacing ft", nyGrapes,
		words.New("calc-treated-band",
			"The treated acres of a band job set the product. The record of a restricted-use product names the whole area covered.",
			"Los acres tratados en banda fijan el producto. El registro de un producto de uso restringido nombra toda la superficie recorrida."),
		func(in inputs) quantity.Exact {
			return in.num("block_acres").Times(in.num("band_width_in")).Over(inchesPerFoot).Over(in.num("row_spacing_ft"))
		}, amount("block_acres"), size("band_width_in"), size("row_spacing_ft")),

	"product_total": ownUnit("", "treated acres x rate per acre", nyGrapes,
		words.New("calc-product-total",
			"Product for the treated acres, in the unit of the rate. Never round it up.",
			"Producto para los acres tratados, en la unidad de la dosis. No lo redondee hacia arriba."),
		func(in inputs) quantity.Exact { return in.num("treated_acres").Times(in.num("rate_per_acre")) },
		amount("treated_acres"), amount("rate_per_acre")),

	"planted_acres_per_treated_acre": figure("acre/acre", "row spacing ft x 12 / band in", nyGrapes,
		words.New("calc-planted-per-treated",
			"Acres of planting that hold one treated acre of band.",
			"Acres de plantación que contienen un acre tratado en banda."),
		func(in inputs) quantity.Exact {
			return in.num("row_spacing_ft").Times(inchesPerFoot).Over(in.num("band_width_in"))
		}, size("band_width_in"), size("row_spacing_ft")),

	"strip_area_from_plants": figure("acre", "plants x in-row ft x strip ft / 43,560", "UK growers' newsletter, March 2010, herbicide strips",
		words.New("calc-strip-plants",
			"Ground of a strip along the plants; gaps count only if their plants do.",
			"Superficie de una franja a lo largo de las plantas; los huecos cuentan solo si se cuentan sus plantas."),
		func(in inputs) quantity.Exact {
			return in.num("plants").Times(in.num("in_row_ft")).Times(in.num("strip_width_ft")).Over(squareFeetPerAcre)
		}, count("plants"), size("in_row_ft"), size("strip_width_ft")),

	"strip_area_from_plants_metric": figure("ha", "plants x in-row m x strip m / 10,000", "UK growers' newsletter, March 2010, herbicide strips",
		words.New("calc-strip-plants-metric",
			"Ground of a strip along the plants; gaps count only if their plants do.",
			"Superficie de una franja a lo largo de las plantas; los huecos cuentan solo si se cuentan sus plantas."),
		func(in inputs) quantity.Exact {
			return in.num("plants").Times(in.num("in_row_m")).Times(in.num("strip_width_m")).Over(squareMetresPerHa)
		}, count("plants"), size("in_row_m"), size("strip_width_m")),

	"treated_acres_from_row_feet": figure("acre", "rows x row length ft x (band in / 12) / 43,560", ours,
		words.New("calc-treated-row-feet",
			"Treated acres from the feet of row; drawn rows are better than an average length.",
			"Acres tratados a partir de los pies de hilera; las hileras dibujadas valen más que una longitud media."),
		func(in inputs) quantity.Exact {
			return in.num("rows").Times(in.num("row_length_ft")).Times(in.num("band_width_in")).Over(inchesPerFoot).Over(squareFeetPerAcre)
		}, count("rows"), amount("row_length_ft"), size("band_width_in")),

	"gpa_5940": figure("gal/acre", "5,940 x gal/min per nozzle / (mph x width in)", calibration,
		words.New("calc-gpa-5940",
			"Gallons per acre of one nozzle over the width it sprays. Slower by a tenth gives a ninth more.",
			"Galones por acre de una boquilla sobre el ancho que cubre. Un décimo más lento da un noveno más."),
		func(in inputs) quantity.Exact {
			return quantity.Whole(5940).Times(in.num("gpm")).Over(in.num("mph").Times(in.num("width_in")))
		}, amount("gpm"), size("mph"), size("width_in")),

	"gpa_ozmin": figure("gal/acre", "5,940 / 128 x fl oz/min / (mph x width in)", calibration,
		words.New("calc-gpa-oz-min",
			"Gallons per acre from fluid ounces caught in a minute; the usual factor 46.4 is 46.406 rounded.",
			"Galones por acre a partir de las onzas líquidas recogidas en un minuto; el factor usual 46.4 es 46.406 redondeado."),
		func(in inputs) quantity.Exact {
			return quantity.Whole(5940).Over(ozPerGallon).Times(in.num("oz_per_min")).Over(in.num("mph").Times(in.num("width_in")))
		}, amount("oz_per_min"), size("mph"), size("width_in")),

	"speed_mph": figure("mph", "ft / s x 3,600 / 5,280", "extension calibration practice problems; 88 ft in 60 s is 1 mph",
		words.New("calc-speed-mph",
			"Ground speed over a measured course, in the field and with the tank half full.",
			"Velocidad sobre un recorrido medido, en el campo y con el tanque a medias."),
		func(in inputs) quantity.Exact {
			return in.num("feet").Over(in.num("seconds")).Times(secondsPerHour).Over(feetPerMile)
		}, amount("feet"), size("seconds")),

	"speed_kmh": figure("km/h", "m / s x 3.6", ours,
		words.New("calc-speed-kmh",
			"Ground speed over a measured course, in the field and with the tank half full.",
			"Velocidad sobre un recorrido medido, en el campo y con el tanque a medias."),
		func(in inputs) quantity.Exact {
			return in.num("metres").Over(in.num("seconds")).Times(secondsPerHour).Over(thousand)
		}, amount("metres"), size("seconds")),

	"gpa_refill": figure("gal/acre", "gallons x 43,560 / (length ft x swath ft)", "extension calibration practice problems, refill method",
		words.New("calc-gpa-refill",
			"Gallons per acre from what it takes to refill the tank after a measured run.",
			"Galones por acre según lo que hace falta para rellenar el tanque tras un recorrido medido."),
		func(in inputs) quantity.Exact {
			return in.num("gallons").Times(squareFeetPerAcre).Over(in.num("length_ft").Times(in.num("swath_ft")))
		}, amount("gallons"), size("length_ft"), size("swath_ft")),

	"swath_ft": figure("ft", "nozzles x nozzle spacing in / 12", "extension calibration practice problems",
		words.New("calc-swath",
			"Width one pass covers.",
			"Ancho que cubre una pasada."),
		func(in inputs) quantity.Exact {
			return in.num("nozzles").Times(in.num("nozzle_spacing_in")).Over(inchesPerFoot)
		}, some("nozzles"), size("nozzle_spacing_in")),

	"course_128_ft": figure("ft", "43,560 / 128 / (width in / 12)", ounces,
		words.New("calc-course",
			"On a course of this length the fluid ounces caught are gallons per acre.",
			"En un recorrido de esta longitud las onzas líquidas recogidas son galones por acre."),
		func(in inputs) quantity.Exact {
			return squareFeetPerAcre.Over(ozPerGallon).Times(inchesPerFoot).Over(in.num("width_in"))
		}, size("width_in")),

	"gpa_caught": figure("gal/acre", "fl oz / 128 x 43,560 / (length ft x width in / 12)", ounces,
		words.New("calc-gpa-caught",
			"Gallons per acre of the width sprayed: in a band, of the band.",
			"Galones por acre del ancho tratado: en una banda, de la banda."),
		func(in inputs) quantity.Exact {
			return in.num("oz").Over(ozPerGallon).Times(squareFeetPerAcre).Times(inchesPerFoot).Over(in.num("length_ft").Times(in.num("width_in")))
		}, amount("oz"), size("length_ft"), size("width_in")),

	"oz_per_gallon": figure("fl oz/gal", "fl oz per acre / gal per acre", backpack,
		words.New("calc-oz-per-gallon",
			"Fluid ounces of product in each gallon of spray.",
			"Onzas líquidas de producto en cada galón de caldo."),
		func(in inputs) quantity.Exact { return in.num("rate_oz_per_acre").Over(in.num("gpa")) },
		amount("rate_oz_per_acre"), size("gpa")),

	"oz_per_load": figure("fl oz", "fl oz per acre / gal per acre x load gal", backpack,
		words.New("calc-oz-per-load",
			"Fluid ounces of product in one load.",
			"Onzas líquidas de producto en una carga."),
		func(in inputs) quantity.Exact {
			return in.num("rate_oz_per_acre").Over(in.num("gpa")).Times(in.num("load_gal"))
		}, amount("rate_oz_per_acre"), size("gpa"), amount("load_gal")),

	"sqft_per_load": figure("sq ft", "load gal / gal per acre x 43,560", "extension slide set on the 1/128 acre method",
		words.New("calc-sqft-per-load",
			"Ground one load covers.",
			"Superficie que cubre una carga."),
		func(in inputs) quantity.Exact {
			return in.num("load_gal").Over(in.num("gpa")).Times(squareFeetPerAcre)
		}, amount("load_gal"), size("gpa")),

	"gpm_airblast": figure("gal/min", "gal per acre x mph x row spacing ft / 495", blockSheet,
		words.New("calc-gpm-airblast",
			"Output of both sides of the sprayer together, every row driven; halve it for one side.",
			"Caudal de los dos lados del pulverizador juntos, pasando por todas las calles; la mitad para un lado."),
		func(in inputs) quantity.Exact {
			return in.num("gpa").Times(in.num("mph")).Times(in.num("row_spacing_ft")).Over(quantity.Whole(495))
		}, amount("gpa"), size("mph"), size("row_spacing_ft")),

	"trv_dilute_gpa": figure("gal/acre", "shape x width ft x height ft x 35 / row spacing ft", blockSheet,
		words.New("calc-trv",
			"Dilute volume by the size of the hedge. Handbooks use different constants; it informs and never overrides a label.",
			"Volumen diluido según el tamaño del seto. Los manuales usan constantes distintas; orienta y nunca sustituye a la etiqueta."),
		func(in inputs) quantity.Exact {
			return in.num("shape").Times(in.num("width_ft")).Times(in.num("height_ft")).Times(quantity.Whole(35)).Over(in.num("row_spacing_ft"))
		}, amount("shape"), amount("width_ft"), amount("height_ft"), size("row_spacing_ft")),

	"lpha_600": figure("L/ha", "600 x L/min / (km/h x width m)", ours,
		words.New("calc-lpha",
			"Litres per hectare of one nozzle over the width it sprays.",
			"Litros por hectárea de una boquilla sobre el ancho que cubre."),
		func(in inputs) quantity.Exact {
			return quantity.Whole(600).Times(in.num("l_per_min")).Over(in.num("kmh").Times(in.num("width_m")))
		}, amount("l_per_min"), size("kmh"), size("width_m")),

	"nozzles_off": {
		keys: []key{numbers("caught", mostSize)}, formula: "|caught - mean| > mean x 10 %", source: "state exam study page, 10 % nozzle rule",
		how: words.New("calc-nozzles-off",
			"Mean {mean}, all caught in the same time. {which} Calibrate again after a change.",
			"Media {mean}, todo recogido en el mismo tiempo. {which} Calibre de nuevo tras un cambio."),
		do: nozzlesOff,
	},

	"product_per_100gal": ownUnit("", "rate per 100 gal x tank gal / 100", "core pesticide training text, pounds per 100 gallons",
		words.New("calc-per-100-gal",
			"Product for a tank of finished spray. A per-100-gallon rate is no per-acre rate.",
			"Producto para un tanque de caldo. Una dosis por 100 galones no es una dosis por acre."),
		func(in inputs) quantity.Exact {
			return in.num("rate_per_100gal").Times(in.num("tank_gal")).Over(hundred)
		}, amount("rate_per_100gal"), amount("tank_gal")),

	"product_from_ai_percent": figure("lb/acre", "lb active ingredient per acre / (percent / 100)", "US Army MD0173 pesticides subcourse",
		words.New("calc-ai-percent",
			"Pounds of product that hold the active ingredient.",
			"Libras de producto que contienen el ingrediente activo."),
		func(in inputs) quantity.Exact {
			return in.num("ai_lb_per_acre").Times(hundred).Over(in.num("ai_percent"))
		}, amount("ai_lb_per_acre"), percent("ai_percent").within(leastSize, 100)),

	"product_from_ai_lb_per_gal": figure("fl oz/acre", "lb active ingredient per acre / lb active ingredient per gal x 128", ours,
		words.New("calc-ai-gallon",
			"Fluid ounces of product that hold the active ingredient. Pounds per gallon is a concentration, not a density.",
			"Onzas líquidas de producto que contienen el ingrediente activo. Libras por galón es una concentración, no una densidad."),
		func(in inputs) quantity.Exact {
			return in.num("ai_lb_per_acre").Over(in.num("ai_lb_per_gal")).Times(ozPerGallon)
		}, amount("ai_lb_per_acre"), size("ai_lb_per_gal")),

	"acres_per_tank": figure("acre", "tank gal / gal per acre", "Univ. of Idaho band procedure",
		words.New("calc-acres-per-tank",
			"Treated acres one tank covers.",
			"Acres tratados que cubre un tanque."),
		func(in inputs) quantity.Exact { return in.num("tank_gal").Over(in.num("gpa")) },
		amount("tank_gal"), size("gpa")),

	"carrier_total": figure("gal", "treated acres x gal per acre", ours,
		words.New("calc-carrier",
			"Spray for the whole job.",
			"Caldo para todo el trabajo."),
		carrier, tankKeys(size("tank_gal").maybe(), amount("rate_per_acre").maybe())...),

	"full_tanks": figure("tanks", "floor(treated acres x gal per acre / tank gal)", ours,
		words.New("calc-full-tanks",
			"Tanks filled to the brim; what is left over goes into a last, short one.",
			"Tanques llenos; lo que sobra va en un último tanque corto."),
		func(in inputs) quantity.Exact { return fullTanks(in) },
		tankKeys(size("tank_gal"), amount("rate_per_acre").maybe())...),

	"partial_tank_gal": figure("gal", "treated acres x gal per acre - full tanks x tank gal", ours,
		words.New("calc-partial-tank",
			"Spray in the last, short tank; 0 when the full ones come out even.",
			"Caldo en el último tanque corto; 0 si los llenos salen exactos."),
		partialTank, tankKeys(size("tank_gal"), amount("rate_per_acre").maybe())...),

	"product_full_tank": ownUnit("", "tank gal / gal per acre x rate per acre", ours,
		words.New("calc-product-full-tank",
			"Product in each full tank, in the unit of the rate. Never round it up.",
			"Producto en cada tanque lleno, en la unidad de la dosis. No lo redondee hacia arriba."),
		func(in inputs) quantity.Exact {
			return in.num("tank_gal").Over(in.num("gpa")).Times(in.num("rate_per_acre"))
		}, size("treated_acres").maybe(), size("gpa"), size("tank_gal"), amount("rate_per_acre")),

	"product_partial_tank": ownUnit("", "last tank gal / gal per acre x rate per acre", ours,
		words.New("calc-product-partial-tank",
			"Product in the last, short tank, in the unit of the rate. Never round it up.",
			"Producto en el último tanque corto, en la unidad de la dosis. No lo redondee hacia arriba."),
		func(in inputs) quantity.Exact {
			return partialTank(in).Over(in.num("gpa")).Times(in.num("rate_per_acre"))
		}, tankKeys(size("tank_gal"), amount("rate_per_acre"))...),

	"product_grand_total": ownUnit("", "treated acres x rate per acre = full tanks x product in a full tank + product in the last", ours,
		words.New("calc-product-grand-total",
			"Product for all tanks together, in the unit of the rate.",
			"Producto para todos los tanques juntos, en la unidad de la dosis."),
		func(in inputs) quantity.Exact { return in.num("treated_acres").Times(in.num("rate_per_acre")) },
		size("treated_acres"), size("gpa").maybe(), size("tank_gal").maybe(), amount("rate_per_acre")),

	"drench_total": figure("gal", "plants x fl oz per plant / 128", ours,
		words.New("calc-drench",
			"Drench for all plants. Not on saturated soil or before heavy rain.",
			"Solución para todas las plantas. No sobre suelo saturado ni antes de lluvia fuerte."),
		func(in inputs) quantity.Exact {
			return in.num("plants").Times(in.num("volume_per_plant_fl_oz")).Over(ozPerGallon)
		}, count("plants"), amount("volume_per_plant_fl_oz")),

	"buffer_after_reduction_ft": figure("ft", "buffer ft x (1 - sum of percent / 100), not below 0", "Pesticide Environmental Stewardship, drift and endangered species (the percentages add)",
		words.New("calc-buffer-reduction",
			"Credits count only where the label or its official menu grants them.",
			"Las reducciones valen solo si la etiqueta o su lista oficial las concede."),
		func(in inputs) quantity.Exact {
			kept := hundred
			for _, p := range in.list("reductions_percent") {
				kept = kept.Less(quantity.Decimal(p))
			}
			if kept.Sign() < 0 {
				kept = quantity.Exact{}
			}
			return in.num("buffer_ft").Times(kept).Over(hundred)
		}, amount("buffer_ft"), numbers("reductions_percent", 100)),

	"rup_area_covered": {
		keys: []key{amount("block_acres"), word("pattern"), size("band_width_in").maybe(), size("row_spacing_ft").maybe()}, formula: "the whole area covered, band and unsprayed middles included",
		source: "South Dakota State Univ. pesticide recordkeeping page, after USDA AMS guidance",
		how: words.New("calc-rup-covered",
			"What the federal record of a restricted-use product names as size of the area; the product total follows the treated area.",
			"Lo que el registro federal de un producto de uso restringido nombra como superficie; el total de producto sigue la superficie tratada."),
		do: areaCovered,
	},

	"aez_ft": {
		keys: []key{word("method"), word("droplet").maybe(), amount("height_in").maybe()}, formula: "100 ft: aerial, airblast, fumigant, smoke, mist, fog, or droplets finer than medium; 25 ft: medium or larger from more than 12 in; otherwise none",
		source: "40 CFR 170.405(a)(1) as amended by 89 FR 80767, effective 3 December 2024",
		how: words.New("calc-aez",
			"The zone moves with the sprayer, in every direction and over the property line. Keep everyone out while spraying; stop if someone enters. State rules and labels may ask for more.",
			"La zona se mueve con el pulverizador, en todas las direcciones y más allá del lindero. Nadie debe estar dentro mientras se aplica; pare si alguien entra. El estado o la etiqueta pueden exigir más."),
		do: exclusionZone,
	},

	"spot_rule_limit_sqft": figure("sq ft", "acres x 43,560", "7 CFR 110.3(b), as stated by the Minnesota Dept. of Agriculture",
		words.New("calc-spot-limit",
			"Restricted-use spot work on less than a tenth of an acre in a day has a shorter federal record; not in greenhouses and nurseries, and states may differ.",
			"El trabajo puntual con producto de uso restringido en menos de un décimo de acre al día tiene un registro federal más corto; no en invernaderos ni viveros, y los estados pueden diferir."),
		func(in inputs) quantity.Exact { return in.num("acres").Times(squareFeetPerAcre) },
		amount("acres")),

	"rup_record_due": {
		keys: []key{day("applied")}, formula: "day applied + 14 days", source: record110,
		how: words.New("calc-record-due",
			"Federal limit for restricted-use products; many states want it sooner.",
			"Plazo federal para productos de uso restringido; muchos estados lo exigen antes."),
		do: func(in inputs) (result, error) { return onDate(in.moment("applied").AddDate(0, 0, 14)), nil },
	},

	"rup_keep_until": {
		keys: []key{day("applied")}, formula: "day applied + 2 years", source: record110,
		how: words.New("calc-keep-until",
			"Federal minimum; from 29 February it runs to 1 March. Several states ask for 3 years or more.",
			"Mínimo federal; desde el 29 de febrero llega al 1 de marzo. Varios estados piden 3 años o más."),
		do: func(in inputs) (result, error) { return onDate(in.moment("applied").AddDate(2, 0, 0)), nil },
	},

	"rei_end": {
		keys: []key{moment("ended"), key{name: "rei_h", most: mostHours}, word("zone").maybe()}, formula: "end of application + REI hours",
		source: "EPA, Restrictions to Protect Workers After Pesticide Applications: the REI is the time immediately after an application",
		how: words.New("calc-rei-end",
			"Counted from the end of the application. Entry also waits until warning signs are down or covered. {clock}",
			"Se cuenta desde el final de la aplicación. La entrada espera además a que se quiten o tapen los avisos. {clock}"),
		do: entryEnd,
	},

	"wps_display_until": {
		keys: []key{moment("rei_end")}, formula: "end of REI + 30 days",
		source: "Penn State Extension, central posting: 30 days after the REI expires (40 CFR 170.311)",
		how: words.New("calc-display-until",
			"The application stays on display for workers until then.",
			"La aplicación queda expuesta para los trabajadores hasta entonces."),
		do: func(in inputs) (result, error) { return onClock(in.moment("rei_end").AddDate(0, 0, 30)), nil },
	},

	"first_harvest_day": {
		keys: []key{day("applied"), key{name: "phi_days", kind: whole, most: mostDays}}, formula: "day applied + PHI days",
		source: "whole calendar days after the application date; common practice, the label's wording rules",
		how: words.New("calc-first-harvest",
			"Counted in whole days from the day actually applied. The label's wording rules.",
			"Se cuenta en días enteros desde el día en que se aplicó. Manda lo que dice la etiqueta."),
		do: func(in inputs) (result, error) {
			return onDate(in.moment("applied").AddDate(0, 0, in.int("phi_days"))), nil
		},
	},

	"rei_of_mix_h": figure("h", "the longest", "40 CFR 170.407(c), as mirrored in WAC 16-233-116(3)",
		words.New("calc-rei-mix",
			"The longest restricted-entry interval of a mix governs.",
			"Rige el intervalo de entrada restringida más largo de la mezcla."),
		func(in inputs) quantity.Exact {
			longest := 0.0
			for _, h := range in.list("rei_h") {
				longest = max(longest, h)
			}
			return quantity.Decimal(longest)
		}, numbers("rei_h", mostHours)),

	"percent": {
		keys: []key{count("count"), some("sample").within(1, 1e7)}, formula: "count / sample x 100", source: ours,
		how: words.New("calc-percent",
			"{count} of {sample}; with 95 % sureness the true share lies between {low} and {high} % (exact limits, plants taken as independent).",
			"{count} de {sample}; con 95 % de seguridad la proporción real está entre {low} y {high} % (límites exactos, plantas tomadas como independientes)."),
		do: percentOf,
	},

	"per_unit": figure("larvae/fruit", "count / sample", "Cornell berry blog, 30 July 2021, salt flotation",
		words.New("calc-per-unit",
			"The mean per fruit or other unit sampled.",
			"La media por fruto u otra unidad muestreada."),
		func(in inputs) quantity.Exact { return in.num("count").Over(in.num("sample")) },
		count("count"), some("sample")),

	"exact_ci_percent": {
		keys: []key{count("count"), some("sample").within(1, 1e7), key{name: "level", least: 0.5, most: 0.9999}.maybe()}, formula: "both proportions at which so few, or so many, have a chance of (1 - level) / 2",
		source: "C. J. Clopper and E. S. Pearson, Biometrika 26:404 (1934)",
		how: words.New("calc-exact-limits",
			"Limits of the true share. They take the things sampled as independent, which canes of one plant are not. A threshold between the limits is neither shown nor denied.",
			"Límites de la proporción real. Suponen muestras independientes, y las cañas de una planta no lo son. Un umbral entre los límites no queda ni probado ni negado."),
		do: exactLimits,
	},

	"convert": {
		keys: []key{key{name: "value", least: -quantity.MaxValue, most: quantity.MaxValue}, word("from"), word("to")}, formula: "by the units' exact definitions",
		source: "85 FR 62698 (1 ft = 0.3048 m); NIST Handbook 44 Appendix C (edition from memory)",
		how: words.New("calc-convert",
			"Exact by definition. {ounce}",
			"Exacto por definición. {ounce}"),
		do: convert,
	},
}

func carrier(in inputs) quantity.Exact { return in.num("treated_acres").Times(in.num("gpa")) }

func fullTanks(in inputs) quantity.Exact { return carrier(in).Over(in.num("tank_gal")).Floor() }

func partialTank(in inputs) quantity.Exact {
	return carrier(in).Less(fullTanks(in).Times(in.num("tank_gal")))
}
