package table

import (
	"slices"
	"strings"
)

// Columns that are no member of a condition.
const (
	colMachine  = "machine"
	colMaterial = "material"
	colGrade    = "grade"
	colGas      = "gas"
	colNozzle   = "nozzle"    // form and orifice in one cell: double 1.2
	colStatus   = "status"    // written by Export, left unread
	colEdge     = "pierce"    // "none" is a start at the edge
	colNoList   = "contours"  // "none" is an empty list
	colThick    = "thickness" // a member, which also takes gauge numbers
)

// members are other names for members of cut, lead-in, contour and pierce stage, as they stand behind the name of the group:
// "pierce1 gas pressure", "lead-in feed".
var members = map[string]string{
	"laser power": "power", "peak power": "power", "start power": "power", "output power": "power",
	"feed": "speed", "feed rate": "speed", "feedrate": "speed", "cutting speed": "speed", "v": "speed",
	"gas pressure": "pressure", "assist gas pressure": "pressure", "cutting pressure": "pressure", "cutting gas pressure": "pressure",
	"focus position": "focus", "focal position": "focus", "focus pos": "focus", "focus offset": "focus",
	"stand off": "standoff", "stand off distance": "standoff", "standoff distance": "standoff", "nozzle distance": "standoff",
	"nozzle standoff": "standoff", "nozzle height": "standoff", "height": "standoff", "nozzle gap": "standoff",
	"spot size": "spot", "spot diameter": "spot", "focal spot": "spot",
	"beam mode": "mode", "laser mode": "mode", "operating mode": "mode",
	"freq": "frequency", "pulse frequency": "frequency",
	"duty cycle": "duty", "pulse duty": "duty",
	"duration": "time", "dwell": "time", "dwell time": "time", "final power": "end power",
	"minimum power": "min power", "minimum frequency": "min frequency", "minimum duty": "min duty",
	"maximum size": "max size", "size": "max size",
}

// columns are other names for whole columns: what is said in the trade, and a few German ones, since decimal commas come along
// with them.
var columns = map[string]string{
	"thickness": colThick, "t": colThick, "thk": colThick, "thick": colThick, "sheet thickness": colThick, "plate thickness": colThick,
	"material thickness": colThick, "gauge": colThick, "gage": colThick,
	"dicke": colThick, "blechdicke": colThick, "materialdicke": colThick, "plattendicke": colThick,

	"orifice": "nozzle.orifice", "nozzle diameter": "nozzle.orifice", "nozzle dia": "nozzle.orifice", "nozzle size": "nozzle.orifice",
	"nozzle bore": "nozzle.orifice", "orifice diameter": "nozzle.orifice", "düsendurchmesser": "nozzle.orifice",
	"nozzle type": "nozzle.form", "form": "nozzle.form", "düsentyp": "nozzle.form", "düsenform": "nozzle.form",
	"standoff": "nozzle.standoff", "cutting height": "nozzle.standoff", "cut height": "nozzle.standoff",
	"düsenabstand": "nozzle.standoff", "schneidabstand": "nozzle.standoff",
	"nozzle": colNozzle, "düse": colNozzle,

	"leistung": "cut.power", "laserleistung": "cut.power", "geschwindigkeit": "cut.speed", "vorschub": "cut.speed",
	"schnittgeschwindigkeit": "cut.speed", "druck": "cut.pressure", "gasdruck": "cut.pressure", "schneidgasdruck": "cut.pressure",
	"fokus": "cut.focus", "fokuslage": "cut.focus", "fokusposition": "cut.focus", "frequenz": "cut.frequency",
	"tastverhältnis": "cut.duty", "betriebsart": "cut.mode",

	"kerf width": "kerf", "cut width": "kerf", "schnittspalt": "kerf", "fugenbreite": "kerf",
	"perpendicularity range": "quality.perpendicularity_range", "roughness range": "quality.roughness_range", "max dross": "quality.max_dross",

	"machine": colMachine, "machine name": colMachine, "maschine": colMachine,
	"material": colMaterial, "material type": colMaterial, "werkstoff": colMaterial,
	"grade": colGrade, "material grade": colGrade, "steel grade": colGrade, "alloy": colGrade, "werkstoffnummer": colGrade, "güte": colGrade,
	"gas": colGas, "assist gas": colGas, "cutting gas": colGas, "process gas": colGas, "gas type": colGas, "schneidgas": colGas,
	"variante": "variant", "verfahren": "process",
	"notes": "note", "remark": "note", "remarks": "note", "comment": "note", "comments": "note", "bemerkung": "note", "kommentar": "note",
	"status": colStatus, "pierce": colEdge, "contours": colNoList,
}

// materials are spellings that mean one material wherever plate is cut. Keys are plain: lower case, single blanks.
var materials = map[string]string{
	"mild steel": "carbon-steel", "ms": "carbon-steel", "cs": "carbon-steel", "black steel": "carbon-steel", "structural steel": "carbon-steel",
	"low carbon steel": "carbon-steel", "baustahl": "carbon-steel",
	"stainless": "stainless-steel", "ss": "stainless-steel", "inox": "stainless-steel", "edelstahl": "stainless-steel",
	"aluminum": "aluminium", "alu": "aluminium", "al": "aluminium",
	"galvanized": "galvanized-steel", "galvanised": "galvanized-steel", "galvanised steel": "galvanized-steel", "galv": "galvanized-steel",
	"galv steel": "galvanized-steel", "zinc coated steel": "galvanized-steel", "verzinkt": "galvanized-steel",
	"cu": "copper", "kupfer": "copper", "messing": "brass", "ti": "titanium", "titan": "titanium",
}

// gases likewise.
var gases = map[string]string{
	"o2": "oxygen", "n2": "nitrogen", "ar": "argon", "compressed air": "air", "shop air": "air", "dry air": "air",
	"sauerstoff": "oxygen", "stickstoff": "nitrogen", "luft": "air", "druckluft": "air",
}

// words are other spellings of the words of a member, by the last step of its path.
var words = map[string]map[string]string{
	"mode":    {"cw": "continuous", "continuous wave": "continuous", "pulse": "pulsed", "pulsing": "pulsed"},
	"form":    {"s": "single", "d": "double", "single layer": "single", "double layer": "double"},
	"process": {"cutting": "cut", "marking": "mark", "vaporize": "vaporise", "vaporising": "vaporise", "vaporizing": "vaporise"},
}

// modes are the words of the member mode.
var modes = []string{"continuous", "pulsed"}

// plain makes spellings of one name alike: lower case, hyphens and underscores as blanks, single blanks, raised and lowered
// digits on the line.
func plain(s string) string {
	s = strings.ToLower(subscripts.Replace(s))
	s = strings.Map(func(r rune) rune {
		switch r {
		case '_', '-', '.', '\u2010', '\u2011':
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

var subscripts = strings.NewReplacer("₂", "2", "²", "2", "₀", "0", "₁", "1", "\u00ad", "")

// resolve finds the name of the library that a cell means: the name itself however it is spelt, or one of the trade.
func resolve(cell string, known []string, trade map[string]string) (string, bool) {
	p := plain(cell)
	for _, name := range known {
		if plain(name) == p {
			return name, true
		}
	}
	name, ok := trade[p]
	return name, ok && slices.Contains(known, name)
}
