package lint

import "fettle/schema/quantity"

// The rules of the family physics: can a beam, a jet and a plate do this at all, and is it anywhere near what they do every day. They
// say nothing about processes that do not sever. The balances behind them stand in package physics.
var physicsRules = []Rule{
	{
		Name: "energy-short", Severity: Error, Scope: PerRecipe, Check: energyShort, Limit: "50 %", Of: quantity.DimRatio,
		Title: "less heat than melting the kerf takes",
		Why: "What is cut has to be melted first. It is an error where the laser, with nothing reflected and nothing lost, and twice the oxygen that lies over the kerf, " +
			"all of it burnt, still melt less than the narrowest kerf (as stated, or 0.6 of the focus): the plate is not severed, and the melt comes back at the head. It is a warning " +
			"where melting alone takes more than the limit of the laser's power, twice the limit in oxygen; where melting and the heat that runs off into the plate beside the kerf take more than a " +
			"cut front ever takes up of the beam, and the burning of the oxygen over it brings; or where steel in oxygen gets less than 3 J on each mm2 of its edge. Titanium and magnesium also burn in " +
			"nitrogen and are never called impossible there.",
		Source: "balance of heat with the constants of lint/physics, the kinder end of their uncertainty; moving line of heat by Rosenthal (1946); melting takes 10 to 40 % of the power in ordinary inert cuts, 20 to 65 % with oxygen: trade judgement",
		Bad:    `lead_in.power=210 W`, Good: `lead_in.power=1.5 kW`,
	},
	{
		Name: "energy-excess", Severity: Warning, Scope: PerRecipe, Check: energyExcess, Limit: "1",
		Title: "far more heat than such a cut takes",
		Why: "Ordinary cuts spend up to 40 J on each mm2 of the edge where steel burns in oxygen, up to 130 inert; a lead-in or a small contour up to three times that. Beyond, " +
			"corners melt off, the plate warps, and with oxygen it burns by itself beside the kerf. The same comes of far more oxygen than the kerf can burn, on plate of " +
			"3 mm and more: four times as much, in a lead-in or small contour three times that. The limit is a multiple of all of these.",
		Source: "trade judgement",
		Bad:    `lead_in.speed=0.1 m/min`, Good: `lead_in.speed=0.9 m/min`,
	},
	{
		Name: "oxygen-short", Severity: Warning, Scope: PerRecipe, Check: oxygenShort, Limit: "15 %", Of: quantity.DimRatio,
		Title: "too little oxygen over the kerf to burn with",
		Why: "A cut in oxygen gets most of its heat from burning iron. Of the jet only the strip over the kerf counts. Ordinary cuts of steel get from a third to all of what would burn " +
			"the whole kerf to FeO; starved of it the cut dies in drag lines and dross on the back. How much is little is not sharp, so it is never an error.",
		Source: "burning to FeO takes 0.2865 kg of oxygen per kg of iron; flow of the orifice by NACA Report 1135; the limit is trade judgement",
		Bad:    `lead_in.pressure=0.02 bar`, Good: `lead_in.pressure=0.2 bar`,
	},
	{
		Name: "kerf-beam", Severity: Warning, Scope: PerRecipe, Check: kerfBeam,
		Title: "a kerf that the beam does not make",
		Why: "The beam melts about its own width. A kerf under 0.6 of its narrowest place inside the plate, or over 2.5 times its widest and 0.3 mm, is a slip in the kerf, the focus or the optics; " +
			"the compensation of the path then makes every part too small or too large.",
		Source: "beam by ISO 11146-1; the two limits are trade judgement",
		Bad:    `2mm:kerf=0.1 mm`, Good: `2mm:kerf=0.2 mm`,
	},
	{
		Name: "beam-clips-nozzle", Severity: Error, Scope: PerRecipe, Check: beamClips,
		Title: "a beam wider than the orifice it has to pass",
		Why: "The edge of the beam then heats the tip instead of the plate: the nozzle gets hot, warps and sticks to spatter, and the cut has a good and a bad side. A warning where the diameter " +
			"(D4sigma) at the tip is above the orifice; an error where eight tenths of it still are, since then a quarter of the power and more meets the tip. Stages of a pierce are judged only where the profile says from where the focus is counted.",
		Source: "beam by ISO 11146-1; machine profile, laser.core_diameter, laser.beam_parameter_product and head",
		Bad:    `lead_in.focus=25 mm`, Good: `lead_in.focus=12 mm`,
	},
	{
		Name: "standoff-orifice", Severity: Warning, Scope: PerRecipe, Check: standoffOrifice, Limit: "2.5",
		Title: "a nozzle too far off for its size",
		Why: "A jet keeps its core for a few diameters of the orifice. Cutting from farther, air mixes in, less of the gas reaches the kerf and the height sensing weakens. There is no lower limit, and " +
			"stages of a pierce stand off as far as they like. The limit is standoff over orifice.",
		Source: "trade judgement",
		Bad:    `nozzle.standoff=4 mm`, Good: `nozzle.standoff=2.5 mm`,
	},
	{
		Name: "pierce-energy", Severity: Error, Scope: PerRecipe, Check: pierceEnergy, Limit: "10",
		Title: "a pierce that cannot come through",
		Why: "It is an error where the laser (peak, duty and time of all stages) and the oxygen together bring less than melting a hole of 0.6 of the focus takes: " +
			"the head moves off on a closed plate. It is a warning where the laser alone brings less than the limit times what a hole as wide as the focus takes; ordinary pierces bring 30 times and more. " +
			"An empty list is a start from the edge and is fine.",
		Source: "balance of heat with the constants of lint/physics, the kinder end of their uncertainty; the limit is trade judgement",
		Bad:    `pierce[0].power=0 W`, Good: `pierce[0].power=900 W`,
	},
	{
		Name: "jet", Severity: Warning, Scope: PerRecipe, Check: jet, Limit: "1.5 bar", Of: quantity.DimPressure,
		Title:  "an inert cut without a jet to speak of",
		Why:    "Without burning, the jet alone drives the melt out of the kerf, and that takes a fast one. Below the limit the melt freezes on the back edge. Oxygen is slow on purpose and not judged here.",
		Source: "trade judgement; a jet is at the speed of sound from about 0.9 bar on (NACA Report 1135)",
		Bad:    `inert:lead_in.pressure=0.4 bar`, Good: `lead_in.pressure=0.4 bar`,
	},
}
