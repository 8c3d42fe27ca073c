package review

import (
	"caneward/blocks/words"
	"caneward/records/scouting"
)

var (
	saysRemove = words.New("review-says-remove",
		"{count} plant(s) go: {confirmed} confirmed, {between} between confirmed ones, {margin} beside them, {ground} in ground taken whole.",
		"Se quitan {count} planta(s): {confirmed} confirmadas, {between} entre confirmadas, {margin} a su lado, {ground} en terreno que se quita entero.")
	saysNothing = words.New("review-says-nothing",
		"Nothing goes: no plant of this block is confirmed for what was asked.",
		"No se quita nada: ninguna planta de este bloque está confirmada para lo que se preguntó.")
	saysSuspected = words.New("review-says-suspected",
		"{count} find(s) are only suspected or sampled. They list nothing until a laboratory's result is recorded or an adviser confirms them by name.",
		"{count} hallazgo(s) solo son sospechas o muestras. No ponen nada en la lista hasta que se registre el resultado de un laboratorio o un asesor los confirme con su nombre.")
	saysNoPlant = words.New("review-says-no-plant",
		"{count} find(s) belong to no known plant. A pin alone does not tell which row: say row and plant.",
		"{count} hallazgo(s) no corresponden a ninguna planta conocida. Un punto solo no dice qué hilera es: indique hilera y planta.")
	saysGround = words.New("review-says-ground",
		"Rows {first} to {last}, plants {from} to {to}, taken whole: {infected} of {inspected} inspected plants confirmed ({share} %); at 95 % at least {lower} %, above the adviser's limit of {limit} %. {reason}",
		"Hileras {first} a {last}, plantas {from} a {to}, enteras: {infected} de {inspected} plantas revisadas confirmadas ({share} %); con 95 % al menos {lower} %, por encima del umbral del asesor de {limit} %. {reason}")
	saysPlanting = words.New("review-says-planting",
		"The whole planting: {infected} of {inspected} inspected plants confirmed ({share} %); at 95 % at least {lower} %, above the adviser's limit of {limit} %. {reason}",
		"Toda la plantación: {infected} de {inspected} plantas revisadas confirmadas ({share} %); con 95 % al menos {lower} %, por encima del umbral del asesor de {limit} %. {reason}")
	saysAgain = words.New("review-says-again",
		"{count} plant(s) are to be looked at again.",
		"{count} planta(s) se revisan de nuevo.")
)

// Says tells the list in sentences.
func (l List) Says() []words.Text {
	var says []words.Text
	if len(l.Remove) == 0 {
		says = append(says, saysNothing.Plain())
	} else {
		says = append(says, saysRemove.With(words.Args{"count": len(l.Remove), "confirmed": l.Counts[BecauseConfirmed], "between": l.Counts[BecauseBetween],
			"margin": l.Counts[BecauseMargin], "ground": l.Counts[BecauseSection] + l.Counts[BecausePlanting]}))
	}
	for _, g := range l.Grounds {
		says = append(says, g.Says())
	}
	waiting, placeless := 0, 0
	for _, a := range l.Apart {
		switch {
		case a.Why == "no-plant":
			placeless++
		case a.State != scouting.Confirmed:
			waiting++
		}
	}
	if waiting > 0 {
		says = append(says, saysSuspected.With(words.Args{"count": waiting}))
	}
	if placeless > 0 {
		says = append(says, saysNoPlant.With(words.Args{"count": placeless}))
	}
	if len(l.Inspect) > 0 {
		says = append(says, saysAgain.With(words.Args{"count": len(l.Inspect)}))
	}
	return says
}

// Says tells on which figures ground is taken whole.
func (g Ground) Says() words.Text {
	args := words.Args{"first": g.FirstRow, "last": g.LastRow, "from": g.From, "to": g.To, "infected": g.Infected, "inspected": g.Inspected,
		"share": percent(g.Share), "lower": percent(g.Lower), "limit": percent(*g.Limit), "reason": g.Reason}
	if g.Whole {
		return saysPlanting.With(args)
	}
	return saysGround.With(args)
}
