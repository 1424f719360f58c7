package schema

import "fettle/schema/quantity"

// Head is what every file carries first.
type Head struct {
	Schema Member[string] `json:"$schema" canon:"no" doc:"where an editor finds the JSON Schema"`
	Kind   Member[string] `json:"kind" need:"yes" one:"library,machine,condition-set,trial-plan,trial-sheet,reason,trial,approval,rejection,adoption,withdrawal,permit,waiver,load,escape,cause" canon:"no" doc:"what the file is"`
	Format Member[int]    `json:"format" need:"yes" canon:"no" doc:"version of the file format, 1"`
}

// Settings is fettle.json, the root of a library.
type Settings struct {
	Head
	ID        Member[string]               `json:"id" need:"yes" is:"id32" doc:"identity of the library, so that a record of another one cannot be slipped in"`
	Name      Member[string]               `json:"name" need:"yes" is:"filled" doc:"the shop, as screens show it"`
	Display   Member[Display]              `json:"display" doc:"units for screens"`
	Materials Table[OwnMaterial]           `json:"materials" keys:"name" doc:"materials of the shop's own"`
	Gases     Table[Table[quantity.Ratio]] `json:"gases" keys:"name" doc:"gas mixes: shares by volume that add up to 100 %"`
	Trend     Table[Directions]            `json:"trend" keys:"family" doc:"declared direction over thickness, by family: machine/material/gas[/variant]"`
	Rules     Table[RuleSetting]           `json:"rules" keys:"name" doc:"severity and limit of single rules"`
	Policy    Member[Policy]               `json:"policy" doc:"what a change needs before it counts"`
	Prices    Member[Prices]               `json:"prices" doc:"for the cost of a cut"`
	Note      Member[string]               `json:"note" canon:"no" doc:"free text"`
}

// OwnMaterial is a material of the shop's own, judged by the constants of its base.
type OwnMaterial struct {
	Base Member[string] `json:"base" need:"yes" is:"name" doc:"the known material whose constants it takes"`
	Note Member[string] `json:"note" canon:"no" doc:"free text"`
}

// Directions are what a shop expects of a family as the plate gets thicker.
type Directions struct {
	Speed    Member[string] `json:"speed" one:"rising,falling,any" doc:"cutting speed"`
	Power    Member[string] `json:"power" one:"rising,falling,any" doc:"laser power"`
	Pressure Member[string] `json:"pressure" one:"rising,falling,any" doc:"gas pressure"`
	Focus    Member[string] `json:"focus" one:"rising,falling,any" doc:"focus position"`
	Kerf     Member[string] `json:"kerf" one:"rising,falling,any" doc:"kerf width"`
	Orifice  Member[string] `json:"orifice" one:"rising,falling,any" doc:"nozzle orifice"`
	Pierce   Member[string] `json:"pierce" one:"rising,falling,any" doc:"pierce time"`
}

// RuleSetting changes how one rule speaks in this library.
type RuleSetting struct {
	Severity Member[string] `json:"severity" word:"severity" doc:"error, warning, note or off"`
	Limit    Member[string] `json:"limit" is:"filled" doc:"the limit of the rule, with its unit"`
}

// Policy is what a change needs before it counts.
type Policy struct {
	Protected     Member[[]string] `json:"protected" is:"filled" doc:"branches that take only approved changes"`
	Approvals     Member[int]      `json:"approvals" doc:"how many persons must approve; 1 if absent"`
	OwnChange     Member[string]   `json:"own_change" one:"refuse,allow" doc:"whether a person may approve what they wrote; refuse if absent"`
	Trial         Member[string]   `json:"trial" one:"require,off" doc:"whether approval needs a good trial of the changed values; off if absent"`
	Stale         Member[string]   `json:"stale_together" one:"refuse,allow" doc:"whether what went stale because the machine changed may be approved again together, on a reason in words and without a trial of each; refuse if absent"`
	Reason        Member[string]   `json:"reason" one:"require,off" doc:"whether a change needs a reason; require if absent"`
	SignedChanges Member[string]   `json:"signed_changes" one:"require,off" doc:"whether reasons are signed; off if absent"`
	MissingTool   Member[string]   `json:"missing_tool" one:"block,pass" doc:"what a hook does where fettle itself is gone; block if absent"`
}

// ApprovalsNeeded is how many persons must approve, at least one.
func (p Policy) ApprovalsNeeded() int { return max(1, p.Approvals.Or(1)) }

// OwnChangeAllowed reports whether a person may approve what they wrote.
func (p Policy) OwnChangeAllowed() bool { return p.OwnChange.V == "allow" }

// TrialRequired reports whether approval needs a good trial of the changed values.
func (p Policy) TrialRequired() bool { return p.Trial.V == "require" }

// StaleTogether reports whether what went stale because the machine changed may be approved again together, on a reason in words.
func (p Policy) StaleTogether() bool { return p.Stale.V == "allow" }

// ReasonRequired reports whether a change needs a reason.
func (p Policy) ReasonRequired() bool { return p.Reason.V != "off" }

// SignedChangesRequired reports whether reasons must be signed.
func (p Policy) SignedChangesRequired() bool { return p.SignedChanges.V == "require" }

// Prices make the cost of a cut. Gas prices are per m³ at GasAt and atmospheric pressure.
type Prices struct {
	Currency    Member[string]               `json:"currency" need:"yes" is:"filled" doc:"as screens show it"`
	GasAt       Member[quantity.Temperature] `json:"gas_at" doc:"temperature at which a cubic metre of gas is sold; 20 degC if absent"`
	Gas         Table[Number]                `json:"gas_m3" rest:"_m3" doc:"price of a cubic metre: oxygen_m3, nitrogen_m3 …"`
	MachineHour Member[Number]               `json:"machine_hour" doc:"price of an hour of the machine"`
}
