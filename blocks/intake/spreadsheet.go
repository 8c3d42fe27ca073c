package intake

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/intake/sheet"
	"caneward/blocks/when"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// spreadsheet reads delimited text. It comes last: any text with a comma in it
// might be a table.
type spreadsheet struct{}

func (spreadsheet) Name() string { return "CSV" }

func (spreadsheet) Detects(data []byte, name string) bool {
	if isTable(data, name) {
		return true
	}
	name = strings.ToLower(name)
	text := bytes.IndexByte(data[:min(len(data), sniffed)], 0) < 0 && !startsWith(data, '<')
	return text && (strings.HasSuffix(name, ".csv") || strings.HasSuffix(name, ".tsv"))
}

func (spreadsheet) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	options, bad := sheetOptions(o)
	if len(bad) > 0 {
		for _, d := range bad {
			p.refuse(fault.Invalid, d)
		}
		return nil
	}
	s, err := sheet.Open(ctx, data, options)
	if e, ok := wire.As(err); ok && (e.Rule == sheet.RuleColumns || e.Rule == sheet.RuleDayMonth) {
		return p.unreadSheet(ctx, data, options, e)
	}
	if err != nil {
		return p.refuseOr(err)
	}
	preview, err := s.Preview()
	if err != nil {
		return err
	}
	p.Columns = &preview
	if s.Order() == when.Either {
		p.ask(Question{Topic: TopicDayOrder, Detail: fault.Detail{Text: whichOrder.Plain(), Fix: whichOrderFix.Plain(), Line: lineFrom(preview.HeaderLine)},
			Choices: []Choice{{Value: when.DayFirst.String(), Text: dayFirst.Plain()}, {Value: when.MonthFirst.String(), Text: monthFirst.Plain()}}})
	}
	return p.gather(ctx, s, o)
}

// unreadSheet shows the head of a sheet that cannot be read as it is, and asks
// what its columns hold or refuses it.
func (p *Proposal) unreadSheet(ctx context.Context, data []byte, o sheet.Options, e *wire.Error) error {
	preview, err := sheet.Columns(ctx, data, o)
	if err != nil {
		return err
	}
	p.Columns = &preview
	if e.Rule == sheet.RuleDayMonth {
		p.refuseWire(e)
		return nil
	}
	q := Question{Topic: TopicColumns, Detail: detailOf(e)}
	for _, f := range sheet.Fields {
		q.Choices = append(q.Choices, Choice{Value: string(f), Text: f.Text()})
	}
	p.ask(q)
	return nil
}

func lineFrom(n int) *int {
	if n == 0 {
		return nil
	}
	return fault.P(n)
}

// sheetOptions turns answers into a sheet's options, refusing what is none.
func sheetOptions(o Options) (sheet.Options, []fault.Detail) {
	out := sheet.Options{Limits: o.Limits, Now: o.Now, System: o.System, Fields: map[string]sheet.Field{}}
	var bad []fault.Detail
	if o.Zone != "" {
		zone, err := time.LoadLocation(o.Zone)
		if err != nil || zone == time.Local {
			bad = append(bad, fault.Detail{Field: "zone", Text: noSuchZone.With(words.Args{"zone": o.Zone})})
		}
		out.Zone = zone
	}
	order, ok := when.ParseOrder(o.DayOrder)
	if !ok {
		bad = append(bad, fault.Detail{Field: "day_order", Text: noSuchOrder.With(words.Args{"got": o.DayOrder})})
	}
	out.Order = order
	headers := make([]string, 0, len(o.Columns))
	for header := range o.Columns {
		headers = append(headers, header)
	}
	slices.Sort(headers)
	for _, header := range headers {
		f, ok := sheet.ParseField(o.Columns[header])
		if !ok {
			bad = append(bad, fault.Detail{Field: "columns." + header, Text: noSuchField.With(words.Args{"got": o.Columns[header]})})
		}
		out.Fields[header] = f
	}
	return out, bad
}

var (
	whichOrder = words.New("intake-which-order",
		"The dates of this sheet can be read with the day first or with the month first; no row tells. Which is it?",
		"Las fechas de esta hoja se pueden leer con el día primero o con el mes primero; ninguna fila lo aclara. ¿Cuál es?")
	whichOrderFix = words.New("intake-which-order-fix",
		"Choose one, or save the dates as 2026-05-04.",
		"Elija uno, o guarde las fechas como 2026-05-04.")
	dayFirst    = words.New("intake-day-first", "The day comes first: 4/5 is 4 May.", "El día va primero: 4/5 es el 4 de mayo.")
	monthFirst  = words.New("intake-month-first", "The month comes first: 4/5 is April 5.", "El mes va primero: 4/5 es el 5 de abril.")
	noSuchZone  = words.New("intake-no-such-zone", "There is no time zone {zone}; write it as America/Chicago.", "No existe la zona horaria {zone}; escríbala como America/Chicago.")
	noSuchOrder = words.New("intake-no-such-order", "{got} is no order of dates: day-first and month-first are.", "{got} no es un orden de fechas: day-first y month-first lo son.")
	noSuchField = words.New("intake-no-such-field", "{got} is nothing that a column can hold here.", "{got} no es nada que una columna pueda contener aquí.")
)

// sheetMends are the rules whose departure makes the proposal differ from what
// the cells say.
var sheetMends = []wire.Rule{sheet.RuleSerial}

var sheetSayings = map[wire.Rule]saying{
	sheet.RuleQuote: {fault.Malformed, words.New("intake-sheet-quote",
		"A field starts with a quote mark here and does not end where it should; the rows after it would be swallowed: “{got}”.",
		"Aquí un campo empieza con comillas y no termina donde debería; se tragaría las filas siguientes: «{got}»."), words.New("intake-sheet-quote-fix",
		"Close the quotes, or write a quote mark inside a quoted field twice.",
		"Cierre las comillas, o escriba dos veces las comillas dentro de un campo entrecomillado.")},
	sheet.RuleField: {fault.TooLarge, words.New("intake-sheet-field",
		"A field is larger than {limit} bytes.",
		"Un campo pasa de {limit} bytes."), noFix},
	sheet.RuleWide: {fault.TooLarge, words.New("intake-sheet-wide",
		"There are more than {limit} columns.",
		"Hay más de {limit} columnas."), words.New("intake-sheet-wide-fix",
		"Leave out the columns that are not needed.",
		"Quite las columnas que no hagan falta.")},
	sheet.RuleDecimalComma: {fault.Malformed, words.New("intake-sheet-decimal-comma",
		"The numbers have a decimal comma, and commas also part the columns, so no position can be read: “{got}”.",
		"Los números llevan coma decimal y las comas también separan las columnas, así que ninguna posición se puede leer: «{got}»."), words.New("intake-sheet-decimal-comma-fix",
		"Save the sheet with semicolons between the columns, or write decimal points.",
		"Guarde la hoja con punto y coma entre las columnas, o escriba puntos decimales.")},
	sheet.RuleSplit: {fault.Invalid, words.New("intake-sheet-split",
		"Minutes and seconds of the positions stand in columns of their own ({got}); the column of degrees alone would be tens of kilometres off.",
		"Los minutos y segundos de las posiciones están en columnas aparte ({got}); la columna de grados por sí sola se desviaría decenas de kilómetros."), words.New("intake-sheet-split-fix",
		"Join them into one column for latitude and one for longitude, such as 41°14'04.2\"N, or degrees with decimals.",
		"Júntelos en una columna de latitud y otra de longitud, como 41°14'04.2\"N, o en grados con decimales.")},
	sheet.RuleTwiceHeaded: {fault.Invalid, words.New("intake-sheet-twice-headed",
		"Two columns have the same heading; the first was taken for it and the other kept apart: {got}.",
		"Dos columnas tienen el mismo encabezado; se tomó la primera y la otra se conservó aparte: {got}."), noFix},
	sheet.RuleLatFirst: {fault.Invalid, words.New("intake-sheet-lat-first",
		"In the column {got} the first number was taken as the latitude, the second as the longitude; nothing in it proves that. Look where the points lie on the map.",
		"En la columna {got} el primer número se tomó como latitud y el segundo como longitud; nada en ella lo demuestra. Mire dónde quedan los puntos en el mapa."), noFix},
	sheet.RuleShortYear: {fault.Invalid, words.New("intake-sheet-short-year",
		"{count} date(s) have a year of two digits; it was completed, for example {got}.",
		"{count} fecha(s) tienen el año con dos cifras; se completó, por ejemplo {got}."), noFix},
	sheet.RuleYear: {fault.Invalid, words.New("intake-sheet-year",
		"{count} date(s) have a year that can hardly be right, such as “{got}”; they were kept as they are.",
		"{count} fecha(s) tienen un año que difícilmente es correcto, como «{got}»; se conservaron tal cual."), noFix},
	sheet.RuleColumns: {fault.Invalid, words.New("intake-sheet-columns",
		"No column is known to hold positions. The columns are: {got}. Which hold latitude and longitude?",
		"No se reconoce ninguna columna con posiciones. Las columnas son: {got}. ¿Cuáles contienen latitud y longitud?"), words.New("intake-sheet-columns-fix",
		"Say what each column holds, or head the columns lat and lon, or row and plant.",
		"Indique qué contiene cada columna, o ponga lat y lon, o hilera y planta, como encabezados.")},
	sheet.RulePosition: {fault.Invalid, words.New("intake-sheet-position",
		"The position “{got}” in this row cannot be read.",
		"La posición «{got}» de esta fila no se puede leer."), words.New("intake-sheet-position-fix",
		"Write degrees as 36.3131 or 36°18'47.2\"N; minutes and seconds stay below 60.",
		"Escriba los grados como 36.3131 o 36°18'47.2\"N; los minutos y segundos no llegan a 60.")},
	sheet.RuleHemisphere: {fault.Invalid, words.New("intake-sheet-hemisphere",
		"The letter of “{got}” contradicts its sign or its column: N and S are latitudes, E and W (O in Spanish) longitudes.",
		"La letra de «{got}» contradice su signo o su columna: N y S son latitudes, E y W u O son longitudes."), words.New("intake-sheet-hemisphere-fix",
		"Write either the sign or the letter, and latitude and longitude in their own columns.",
		"Escriba el signo o la letra, y la latitud y la longitud cada una en su columna.")},
	sheet.RuleDayMonth: {fault.Invalid, words.New("intake-sheet-day-month",
		"Some dates of this column have the day first and others the month (lines {got}); it cannot be read one way throughout.",
		"Unas fechas de esta columna tienen el día primero y otras el mes (líneas {got}); no se puede leer entera de una sola manera."), words.New("intake-sheet-day-month-fix",
		"Save all dates as 2026-05-04.",
		"Guarde todas las fechas como 2026-05-04.")},
	sheet.RuleSkipped: {fault.Invalid, words.New("intake-sheet-skipped",
		"This time does not exist, as clocks jump over it: {got}.",
		"Esta hora no existe, pues los relojes la saltan: {got}."), words.New("intake-sheet-skipped-fix",
		"Look up when it was, or write the time with its offset from UTC.",
		"Compruebe cuándo fue, o escriba la hora con su desfase de UTC.")},
	sheet.RuleTwice: {fault.Invalid, words.New("intake-sheet-twice",
		"This time came twice, as clocks were set back: {got}.",
		"Esta hora se dio dos veces, al atrasarse los relojes: {got}."), words.New("intake-sheet-twice-fix",
		"Write the one that is meant, with its offset.",
		"Escriba la que corresponda, con su desfase.")},
	sheet.RuleProperties: {fault.Malformed, words.New("intake-sheet-properties",
		"The column properties does not hold a whole JSON object in this row: “{got}”.",
		"La columna properties no contiene un objeto JSON completo en esta fila: «{got}»."), words.New("intake-sheet-properties-fix",
		"Put it back as it was exported, or empty the cell; the other columns count then.",
		"Restáurelo como se exportó, o vacíe la celda; entonces cuentan las demás columnas.")},
	sheet.RuleNoPosition: {fault.Invalid, words.New("intake-sheet-no-position",
		"This row has no complete position and was left out: “{got}”.",
		"Esta fila no tiene una posición completa y se dejó fuera: «{got}»."), noFix},
	sheet.RuleMoreRows: {fault.Invalid, words.New("intake-sheet-more-rows",
		"From this row on, {count} more row(s) without a position were left out.",
		"Desde esta fila se dejaron fuera {count} fila(s) más sin posición."), noFix},
	sheet.RuleBefore: {fault.Invalid, words.New("intake-sheet-before",
		"{count} row(s) above the header were left out, the first being “{got}”.",
		"Se dejaron fuera {count} fila(s) anteriores al encabezado; la primera es «{got}»."), noFix},
	sheet.RuleExtra: {fault.Invalid, words.New("intake-sheet-extra",
		"{count} row(s) have more cells than the header; the further cells were kept under their column's number. The first is “{got}”.",
		"{count} fila(s) tienen más celdas que el encabezado; las demás se conservaron con el número de su columna. La primera es «{got}»."), noFix},
	sheet.RuleBareQuote: {fault.Invalid, words.New("intake-sheet-bare-quote",
		"A quote mark stands inside a quoted field in {count} row(s) and was taken as it is; check the row: “{got}”.",
		"Hay comillas dentro de un campo entrecomillado en {count} fila(s) y se tomaron tal cual; revise la fila: «{got}»."), noFix},
	sheet.RuleDegrees: {fault.Invalid, words.New("intake-sheet-degrees",
		"The columns {got} were taken as longitude and latitude in degrees; check where the points lie.",
		"Las columnas {got} se tomaron como longitud y latitud en grados; compruebe dónde quedan los puntos."), noFix},
	sheet.RulePair: {fault.Invalid, words.New("intake-sheet-pair",
		"In the column {got} the longitude comes first, as the first number is beyond 90; it was read so.",
		"En la columna {got} la longitud va primero, pues el primer número pasa de 90; se leyó así."), noFix},
	sheet.RuleOeste: {fault.Invalid, words.New("intake-sheet-oeste",
		"The letter O, as in “{got}”, was taken as west (oeste) in {count} row(s).",
		"La letra O, como en «{got}», se tomó como oeste en {count} fila(s)."), noFix},
	sheet.RuleDayFirst: {fault.Invalid, words.New("intake-sheet-day-first",
		"The dates of the column {got} were read with the day before the month.",
		"Las fechas de la columna {got} se leyeron con el día antes del mes."), noFix},
	sheet.RuleMonthFirst: {fault.Invalid, words.New("intake-sheet-month-first",
		"The dates of the column {got} were read with the month before the day.",
		"Las fechas de la columna {got} se leyeron con el mes antes del día."), noFix},
	sheet.RuleSerial: {fault.Invalid, words.New("intake-sheet-serial",
		"{count} cell(s) of the date column hold day numbers as Excel counts them (1900 system); they were made into dates, for example {got}. Files of old Macintosh versions count from 1904 and would be four years off.",
		"{count} celda(s) de la columna de fechas contienen números de día como los cuenta Excel (sistema 1900); se convirtieron en fechas, por ejemplo {got}. Los archivos de versiones antiguas de Macintosh cuentan desde 1904 y diferirían en cuatro años."), noFix},
	sheet.RuleLocal: {fault.Invalid, words.New("intake-sheet-local",
		"{count} time(s) carry no time zone and none was given; they were kept as clock times, for example {got}.",
		"{count} hora(s) no llevan zona horaria y no se indicó ninguna; se conservaron como hora de reloj, por ejemplo {got}."), words.New("intake-sheet-local-fix",
		"Give the farm's time zone to make moments of them.",
		"Indique la zona horaria de la finca para situarlas en el tiempo.")},
	sheet.RuleDate: {fault.Invalid, words.New("intake-sheet-date",
		"“{got}” in the date column is no date that is read here; it was kept as text.",
		"«{got}», en la columna de fechas, no es una fecha que se lea aquí; se conservó como texto."), noFix},
	sheet.RuleEdited: {fault.Invalid, words.New("intake-sheet-edited",
		"{count} cell(s) differ from the column properties, which keeps the record as it was exported; the cells count. The first is {got}.",
		"{count} celda(s) difieren de la columna properties, que guarda el registro como se exportó; valen las celdas. La primera es {got}."), noFix},
	sheet.RuleNotice: {fault.Invalid, words.New("intake-sheet-notice",
		"The file says of itself: {got}",
		"El archivo dice de sí mismo: {got}"), noFix},
}
