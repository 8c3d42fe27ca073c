package calc

import (
	"slices"
	"sort"

	"caneward/blocks/words"
	"caneward/records/quantity"
)

// Group gathers sums that go together on a page.
type Group string

// Groups in the order pages show them.
var Groups = []Group{"planting", "areas", "rates", "tanks", "calibration", "law", "counts", "units"}

var groupNames = map[Group]words.Message{
	"planting":    words.New("calc-group-planting", "Planting", "Plantación"),
	"areas":       words.New("calc-group-areas", "Areas", "Superficies"),
	"rates":       words.New("calc-group-rates", "Rates and product", "Dosis y producto"),
	"tanks":       words.New("calc-group-tanks", "Spray and tanks", "Caldo y tanques"),
	"calibration": words.New("calc-group-calibration", "Calibration", "Calibración"),
	"law":         words.New("calc-group-law", "Clocks, distances, records", "Plazos, distancias, registros"),
	"counts":      words.New("calc-group-counts", "Counts", "Conteos"),
	"units":       words.New("calc-group-units", "Units", "Unidades"),
}

// Title is the group's name as people read it.
func (g Group) Title() words.Text { return groupNames[g].Plain() }

type heading struct {
	group Group
	title words.Message
}

var headings = map[string]heading{
	"plants_per_acre":                {"planting", words.New("calc-title-plants-per-acre", "Plants per acre", "Plantas por acre")},
	"plants_per_hectare":             {"planting", words.New("calc-title-plants-per-hectare", "Plants per hectare", "Plantas por hectárea")},
	"row_feet_per_acre":              {"planting", words.New("calc-title-row-feet-per-acre", "Feet of row per acre", "Pies de hilera por acre")},
	"rate_acre_to_1000_row_ft":       {"rates", words.New("calc-title-rate-acre-to-1000-row-ft", "Rate per acre as rate per 1,000 ft of row", "Dosis por acre como dosis por 1,000 pies de hilera")},
	"product_from_row_ft_rate":       {"rates", words.New("calc-title-product-from-row-ft-rate", "Product from a rate per 1,000 ft of row", "Producto con una dosis por 1,000 pies de hilera")},
	"treated_acres_band":             {"areas", words.New("calc-title-treated-acres-band", "Treated acres of a band job", "Acres tratados en banda")},
	"product_total":                  {"rates", words.New("calc-title-product-total", "Product for the treated acres", "Producto para los acres tratados")},
	"planted_acres_per_treated_acre": {"areas", words.New("calc-title-planted-acres-per-treated-acre", "Planted acres per treated acre", "Acres plantados por acre tratado")},
	"strip_area_from_plants":         {"areas", words.New("calc-title-strip-area-from-plants", "Area of a strip along plants, acres", "Superficie de una franja junto a plantas, acres")},
	"strip_area_from_plants_metric":  {"areas", words.New("calc-title-strip-area-from-plants-metric", "Area of a strip along plants, hectares", "Superficie de una franja junto a plantas, hectáreas")},
	"treated_acres_from_row_feet":    {"areas", words.New("calc-title-treated-acres-from-row-feet", "Treated acres from feet of row", "Acres tratados según pies de hilera")},
	"gpa_5940":                       {"calibration", words.New("calc-title-gpa-5940", "Output by the 5,940 formula", "Caudal por acre con la fórmula 5,940")},
	"gpa_ozmin":                      {"calibration", words.New("calc-title-gpa-ozmin", "Output from fluid ounces a minute", "Caudal por acre con onzas líquidas por minuto")},
	"speed_mph":                      {"calibration", words.New("calc-title-speed-mph", "Ground speed, mph", "Velocidad, mph")},
	"speed_kmh":                      {"calibration", words.New("calc-title-speed-kmh", "Ground speed, km/h", "Velocidad, km/h")},
	"gpa_refill":                     {"calibration", words.New("calc-title-gpa-refill", "Output by refilling the tank", "Caudal por acre al rellenar el tanque")},
	"swath_ft":                       {"calibration", words.New("calc-title-swath-ft", "Swath of a boom", "Ancho de una barra")},
	"course_128_ft":                  {"calibration", words.New("calc-title-course-128-ft", "Length of a 1/128 acre course", "Largo de un recorrido de 1/128 de acre")},
	"gpa_caught":                     {"calibration", words.New("calc-title-gpa-caught", "Output from what was caught", "Caudal por acre según lo recogido")},
	"oz_per_gallon":                  {"tanks", words.New("calc-title-oz-per-gallon", "Product per gallon of spray", "Producto por galón de caldo")},
	"oz_per_load":                    {"tanks", words.New("calc-title-oz-per-load", "Product per load", "Producto por carga")},
	"sqft_per_load":                  {"tanks", words.New("calc-title-sqft-per-load", "Ground one load covers", "Superficie que cubre una carga")},
	"gpm_airblast":                   {"calibration", words.New("calc-title-gpm-airblast", "Output an airblast sprayer needs", "Caudal que necesita un pulverizador de aire")},
	"trv_dilute_gpa":                 {"calibration", words.New("calc-title-trv-dilute-gpa", "Dilute volume by the size of the hedge", "Volumen diluido según el tamaño del seto")},
	"lpha_600":                       {"calibration", words.New("calc-title-lpha-600", "Output by the 600 formula, metric", "Caudal con la fórmula 600, métrico")},
	"nozzles_off":                    {"calibration", words.New("calc-title-nozzles-off", "Nozzles more than 10 % off the mean", "Boquillas que se desvían más del 10 % de la media")},
	"product_per_100gal":             {"tanks", words.New("calc-title-product-per-100gal", "Product for a tank, rate per 100 gal", "Producto para un tanque, dosis por 100 galones")},
	"product_from_ai_percent":        {"rates", words.New("calc-title-product-from-ai-percent", "Product from pounds of active and its percent", "Producto según libras de activo y su porcentaje")},
	"product_from_ai_lb_per_gal":     {"rates", words.New("calc-title-product-from-ai-lb-per-gal", "Product from pounds of active and pounds per gallon", "Producto según libras de activo y libras por galón")},
	"acres_per_tank":                 {"tanks", words.New("calc-title-acres-per-tank", "Acres one tank covers", "Acres que cubre un tanque")},
	"carrier_total":                  {"tanks", words.New("calc-title-carrier-total", "Spray for the job", "Caldo para el trabajo")},
	"full_tanks":                     {"tanks", words.New("calc-title-full-tanks", "Full tanks", "Tanques llenos")},
	"partial_tank_gal":               {"tanks", words.New("calc-title-partial-tank-gal", "The last tank", "El último tanque")},
	"product_full_tank":              {"tanks", words.New("calc-title-product-full-tank", "Product in each full tank", "Producto en cada tanque lleno")},
	"product_partial_tank":           {"tanks", words.New("calc-title-product-partial-tank", "Product in the last tank", "Producto en el último tanque")},
	"product_grand_total":            {"tanks", words.New("calc-title-product-grand-total", "Product for the whole job", "Producto para todo el trabajo")},
	"drench_total":                   {"tanks", words.New("calc-title-drench-total", "Drench for a number of plants", "Riego dirigido para un número de plantas")},
	"buffer_after_reduction_ft":      {"law", words.New("calc-title-buffer-after-reduction-ft", "Buffer after credits", "Retiro tras las reducciones")},
	"rup_area_covered":               {"law", words.New("calc-title-rup-area-covered", "Area of the restricted-use record", "Superficie del registro de uso restringido")},
	"aez_ft":                         {"law", words.New("calc-title-aez-ft", "Application exclusion zone", "Zona de exclusión de la aplicación")},
	"spot_rule_limit_sqft":           {"law", words.New("calc-title-spot-rule-limit-sqft", "Limit of the spot rule", "Límite de la regla de trabajo puntual")},
	"rup_record_due":                 {"law", words.New("calc-title-rup-record-due", "Restricted-use record due", "Plazo del registro de uso restringido")},
	"rup_keep_until":                 {"law", words.New("calc-title-rup-keep-until", "Keep the restricted-use record until", "Conservar el registro de uso restringido hasta")},
	"rei_end":                        {"law", words.New("calc-title-rei-end", "End of the re-entry time", "Fin del plazo de entrada")},
	"wps_display_until":              {"law", words.New("calc-title-wps-display-until", "Display for workers until", "Exponer para los trabajadores hasta")},
	"first_harvest_day":              {"law", words.New("calc-title-first-harvest-day", "First day of harvest", "Primer día de cosecha")},
	"rei_of_mix_h":                   {"law", words.New("calc-title-rei-of-mix-h", "Re-entry time of a mix", "Plazo de entrada de una mezcla")},
	"percent":                        {"counts", words.New("calc-title-percent", "Share in percent", "Proporción en porcentaje")},
	"per_unit":                       {"counts", words.New("calc-title-per-unit", "Mean per unit sampled", "Media por unidad muestreada")},
	"exact_ci_percent":               {"counts", words.New("calc-title-exact-ci-percent", "Exact limits of a share", "Límites exactos de una proporción")},
	"convert":                        {"units", words.New("calc-title-convert", "Convert units", "Convertir unidades")},
}

var keyNames = map[string]words.Message{
	"row_spacing_ft":         words.New("calc-key-row-spacing-ft", "Row spacing, ft", "Distancia entre hileras, pies"),
	"in_row_ft":              words.New("calc-key-in-row-ft", "Plants apart in the row, ft", "Distancia entre plantas, pies"),
	"row_spacing_m":          words.New("calc-key-row-spacing-m", "Row spacing, m", "Distancia entre hileras, m"),
	"in_row_m":               words.New("calc-key-in-row-m", "Plants apart in the row, m", "Distancia entre plantas, m"),
	"rate_per_acre":          words.New("calc-key-rate-per-acre", "Rate per acre", "Dosis por acre"),
	"unit":                   words.New("calc-key-unit", "Unit of the rate", "Unidad de la dosis"),
	"out_unit":               words.New("calc-key-out-unit", "Unit of the answer", "Unidad de la respuesta"),
	"rate_per_1000_row_ft":   words.New("calc-key-rate-per-1000-row-ft", "Rate per 1,000 ft of row", "Dosis por 1,000 pies de hilera"),
	"rows":                   words.New("calc-key-rows", "Rows", "Hileras"),
	"row_length_ft":          words.New("calc-key-row-length-ft", "Length of a row, ft", "Largo de una hilera, pies"),
	"block_acres":            words.New("calc-key-block-acres", "Block, acres", "Bloque, acres"),
	"band_width_in":          words.New("calc-key-band-width-in", "Width of the band, in", "Ancho de la banda, pulgadas"),
	"treated_acres":          words.New("calc-key-treated-acres", "Treated acres", "Acres tratados"),
	"plants":                 words.New("calc-key-plants", "Plants", "Plantas"),
	"strip_width_ft":         words.New("calc-key-strip-width-ft", "Width of the strip, ft", "Ancho de la franja, pies"),
	"strip_width_m":          words.New("calc-key-strip-width-m", "Width of the strip, m", "Ancho de la franja, m"),
	"gpm":                    words.New("calc-key-gpm", "Nozzle output, gal/min", "Caudal de la boquilla, gal/min"),
	"mph":                    words.New("calc-key-mph", "Speed, mph", "Velocidad, mph"),
	"width_in":               words.New("calc-key-width-in", "Width one nozzle sprays, in", "Ancho que cubre una boquilla, pulgadas"),
	"oz_per_min":             words.New("calc-key-oz-per-min", "Nozzle output, fl oz/min", "Caudal de la boquilla, onzas líquidas/min"),
	"feet":                   words.New("calc-key-feet", "Course, ft", "Recorrido, pies"),
	"seconds":                words.New("calc-key-seconds", "Time, s", "Tiempo, s"),
	"metres":                 words.New("calc-key-metres", "Course, m", "Recorrido, m"),
	"gallons":                words.New("calc-key-gallons", "Refilled, gal", "Rellenado, galones"),
	"length_ft":              words.New("calc-key-length-ft", "Course, ft", "Recorrido, pies"),
	"swath_ft":               words.New("calc-key-swath-ft", "Swath, ft", "Ancho de pasada, pies"),
	"nozzles":                words.New("calc-key-nozzles", "Nozzles", "Boquillas"),
	"nozzle_spacing_in":      words.New("calc-key-nozzle-spacing-in", "Nozzles apart, in", "Distancia entre boquillas, pulgadas"),
	"oz":                     words.New("calc-key-oz", "Caught, fl oz", "Recogido, onzas líquidas"),
	"rate_oz_per_acre":       words.New("calc-key-rate-oz-per-acre", "Rate, fl oz per acre", "Dosis, onzas líquidas por acre"),
	"gpa":                    words.New("calc-key-gpa", "Spray, gal per acre", "Caldo, galones por acre"),
	"load_gal":               words.New("calc-key-load-gal", "Load, gal", "Carga, galones"),
	"shape":                  words.New("calc-key-shape", "Shape factor", "Factor de forma"),
	"width_ft":               words.New("calc-key-width-ft", "Width of the hedge, ft", "Ancho del seto, pies"),
	"height_ft":              words.New("calc-key-height-ft", "Height of the hedge, ft", "Alto del seto, pies"),
	"l_per_min":              words.New("calc-key-l-per-min", "Nozzle output, L/min", "Caudal de la boquilla, L/min"),
	"kmh":                    words.New("calc-key-kmh", "Speed, km/h", "Velocidad, km/h"),
	"width_m":                words.New("calc-key-width-m", "Width one nozzle sprays, m", "Ancho que cubre una boquilla, m"),
	"rate_per_100gal":        words.New("calc-key-rate-per-100gal", "Rate per 100 gal", "Dosis por 100 galones"),
	"tank_gal":               words.New("calc-key-tank-gal", "Tank, gal", "Tanque, galones"),
	"ai_lb_per_acre":         words.New("calc-key-ai-lb-per-acre", "Active, lb per acre", "Activo, libras por acre"),
	"ai_percent":             words.New("calc-key-ai-percent", "Active in the product, %", "Activo en el producto, %"),
	"ai_lb_per_gal":          words.New("calc-key-ai-lb-per-gal", "Active in the product, lb/gal", "Activo en el producto, lb/gal"),
	"volume_per_plant_fl_oz": words.New("calc-key-volume-per-plant-fl-oz", "Per plant, fl oz", "Por planta, onzas líquidas"),
	"buffer_ft":              words.New("calc-key-buffer-ft", "Buffer, ft", "Retiro, pies"),
	"reductions_percent":     words.New("calc-key-reductions-percent", "Credits, %", "Reducciones, %"),
	"pattern":                words.New("calc-key-pattern", "Pattern", "Patrón"),
	"method":                 words.New("calc-key-method", "Way of applying", "Forma de aplicar"),
	"droplet":                words.New("calc-key-droplet", "Droplets", "Gotas"),
	"height_in":              words.New("calc-key-height-in", "Height of release, in", "Altura de salida, pulgadas"),
	"acres":                  words.New("calc-key-acres", "Acres", "Acres"),
	"applied":                words.New("calc-key-applied", "Day applied", "Día de la aplicación"),
	"ended":                  words.New("calc-key-ended", "Ended, local time", "Terminó, hora local"),
	"rei_h":                  words.New("calc-key-rei-h", "Re-entry time, h", "Plazo de entrada, h"),
	"zone":                   words.New("calc-key-zone", "Time zone", "Zona horaria"),
	"rei_end":                words.New("calc-key-rei-end", "End of the re-entry time, local", "Fin del plazo de entrada, hora local"),
	"phi_days":               words.New("calc-key-phi-days", "Days before harvest", "Días antes de la cosecha"),
	"count":                  words.New("calc-key-count", "Hits", "Aciertos"),
	"sample":                 words.New("calc-key-sample", "Sampled", "Muestreados"),
	"level":                  words.New("calc-key-level", "Sureness, 0 to 1", "Seguridad, 0 a 1"),
	"value":                  words.New("calc-key-value", "Value", "Valor"),
	"from":                   words.New("calc-key-from", "From", "De"),
	"to":                     words.New("calc-key-to", "To", "A"),
	"caught":                 words.New("calc-key-caught", "Caught of each nozzle", "Recogido de cada boquilla"),
}

// choicesOf are the words a text key takes where they are a closed list; nil else.
func choicesOf(topic, key string) []string {
	switch key {
	case "pattern":
		return coveredPatterns
	case "droplet":
		return droplets
	case "method":
		var names []string
		for _, m := range methods {
			names = append(names, m.name)
		}
		return names
	case "unit", "out_unit":
		return amountUnits
	}
	return nil
}

// amountUnits are the units product comes in, as keys travel.
var amountUnits = func() []string {
	var names []string
	for _, u := range quantity.Units(quantity.Mass, quantity.Volume, quantity.Count) {
		names = append(names, string(u))
	}
	return names
}()

// Sheet lists every sum for a page: by group, then by title in English.
func Sheet() []Topic {
	list := Describe()
	sort.SliceStable(list, func(i, j int) bool {
		a, b := slices.Index(Groups, list[i].Group), slices.Index(Groups, list[j].Group)
		if a != b {
			return a < b
		}
		return list[i].Title.String() < list[j].Title.String()
	})
	return list
}
