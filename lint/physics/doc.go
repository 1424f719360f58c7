// Package physics knows what a beam, a jet and a plate can do: what heat a kerf takes, what the burning of iron gives back, how wide
// a beam is at any height, what passes a nozzle and a valve, and what it costs.
//
// SI in, SI out: metres, seconds, kilograms, kelvin, pascal (absolute: see [Absolute]), watts, joules; plane angles in radians. Functions
// are pure. Each says its formula, its symbols, where it holds, and where it comes from.
//
//	steel, _ := physics.MaterialNamed("carbon-steel")
//	watts, ok := physics.MeltPower(steel, 0.30e-3, 3.175e-3, 3.43/60) // 0.56 kW
//
//	oxygen, _ := physics.GasNamed("oxygen")
//	nozzle := physics.Nozzle{Diameter: 1e-3, Discharge: physics.UsualDischarge}
//	flow, ok := nozzle.Flow(oxygen, physics.Absolute(0.207e5), physics.Atmosphere, physics.Room)
//	hourly, ok := physics.ANR.Volume(oxygen, flow.Mass) // m3/s; times [Hour] for m3/h
//
// Where something cannot be worked out from what was given (nought, negative, not a number, so large that the answer overflows) the last
// result is false and the others are zero. An answer with true is always finite. Nothing panics.
//
// What belongs together:
//
//   - plate and heat: [Material], [MeltPower], [Kerf] (laser, melt and oxygen in one balance), [LineSource] (conduction), [Hole] (pierce)
//   - beam: [Spot], [Beam], [ClippedShare]
//   - gas: [Gas], [Mix], [Nozzle], [JetOf], [Valve], [Reference]
//   - the cut: [EnergyPerArea], [EnergyPerLength], [Rates] (cost), [PerpendicularityRange], [RoughnessRange] (ISO 9013)
//
// These are balances and envelopes, good to find what cannot be and what is far out of the ordinary. They are not a model of the cut
// edge, and no number here says that a cut will be good.
package physics
