package schema

import (
	"reflect"
	"time"

	"fettle/schema/quantity"
)

// Kinds of files in trials/: what is to be cut, and what was written down so far. A record of kind trial is made of both.
const (
	KindTrialPlan  = "trial-plan"
	KindTrialSheet = "trial-sheet"
)

// TrialDir is where plans and half-filled sheets lie.
const TrialDir = "trials/"

// Designs of a plan: one value in steps, all combinations, or combinations with a star around their centre.
var Designs = []string{"ladder", "factorial", "composite"}

// Varied is one value that a plan varies.
type Varied struct {
	Field  Member[string]   `json:"field" need:"yes" is:"filled" doc:"what is varied: cut.pressure and so on"`
	Values Member[[]string] `json:"values" need:"yes" is:"filled" doc:"the values, rising, each with its unit"`
}

// Coupon is one test piece of a plan. Coupons stand in the order in which they are cut.
type Coupon struct {
	Number  Member[int]   `json:"number" need:"yes" from:"1" doc:"as marked on the piece"`
	Plate   Member[int]   `json:"plate" need:"yes" from:"1" doc:"which of the plates, counted from 1"`
	Changed Table[string] `json:"changed" keys:"filled" doc:"values that differ from those of the plan"`
}

// TrialPlan is a trial before it is cut. It is never edited: a sheet that was cut by it names its digest.
type TrialPlan struct {
	Head
	Library       Member[string]     `json:"library" need:"yes" is:"id32" doc:"identity of the library"`
	At            Member[string]     `json:"at" need:"yes" is:"time" doc:"when it was made, UTC"`
	By            Member[string]     `json:"by" need:"yes" is:"filled" doc:"the person"`
	ID            Member[string]     `json:"id" need:"yes" is:"id" doc:"the condition"`
	Digest        Member[string]     `json:"digest" need:"yes" is:"digest" doc:"digest of the values"`
	Values        Member[Values]     `json:"values" need:"yes" doc:"the recipe that the coupons start from"`
	MachineValues Member[BeamAndJet] `json:"machine_values" doc:"what of the machine shapes beam and jet"`
	Design        Member[string]     `json:"design" need:"yes" word:"design" doc:"ladder, factorial or composite"`
	Varied        Member[[]Varied]   `json:"varied" need:"yes" doc:"what is varied, and how"`
	Repeats       Member[int]        `json:"repeats" need:"yes" from:"1" doc:"how often every setting is cut"`
	Seed          Member[int]        `json:"seed" need:"yes" doc:"of the random order"`
	Coupons       Member[[]Coupon]   `json:"coupons" need:"yes" doc:"the test pieces in the order in which they are cut"`
	Text          Member[string]     `json:"text" doc:"what the trial is to show"`
}

// PlanDigest is the digest of a plan: its layout does not matter, what it says does.
func (p *TrialPlan) PlanDigest() Digest { return DigestOf(canonical(p)) }

// Time returns when the plan was made, or the zero time.
func (p *TrialPlan) Time() time.Time { t, _ := time.Parse(time.RFC3339, p.At.V); return t }

// Photo is a picture that is kept elsewhere.
type Photo struct {
	File   Member[string] `json:"file" need:"yes" is:"filled" doc:"name of the file"`
	Digest Member[string] `json:"digest" need:"yes" is:"digest" doc:"SHA-256 of its bytes"`
}

// Entry is what was written down for one coupon so far.
type Entry struct {
	Coupon   Member[int]      `json:"coupon" need:"yes" from:"1" doc:"its number in the plan"`
	Changed  Table[string]    `json:"changed" keys:"filled" doc:"where it was cut with other values than planned"`
	Observed Member[[]string] `json:"observed" word:"symptom" doc:"what was seen"`
	Measured Member[Measured] `json:"measured" doc:"what was measured"`
	Outcome  Member[string]   `json:"outcome" word:"outcome" doc:"good, marginal or bad; absent where nobody judged it yet"`
	Photos   Member[[]Photo]  `json:"photos" doc:"pictures of it"`
	Text     Member[string]   `json:"text" doc:"in the person's own words"`
}

// TrialSheet is a trial that is being written down. It goes when the trial is recorded.
type TrialSheet struct {
	Head
	Plan       Member[string]        `json:"plan" need:"yes" is:"digest" doc:"digest of the plan"`
	By         Member[string]        `json:"by" is:"filled" doc:"who writes it down"`
	Unit       Member[string]        `json:"unit" is:"name" doc:"the real machine"`
	Plate      Member[string]        `json:"plate" is:"line" doc:"the plate it was cut from"`
	Lot        Member[string]        `json:"lot" is:"line" doc:"its lot or heat number"`
	Grade      Member[string]        `json:"grade" is:"line" doc:"grade of the plate, as on its certificate"`
	NozzleUsed Member[string]        `json:"nozzle_used" is:"line" doc:"the nozzle: its number, new or worn"`
	Overrides  Table[quantity.Ratio] `json:"overrides" keys:"name" doc:"overrides that stood at the machine: feed, power, pressure"`
	Entries    Member[[]Entry]       `json:"entries" need:"yes" doc:"what is known of each coupon"`
	Text       Member[string]        `json:"text" doc:"in the person's own words"`
}

var trialTypes = map[string]reflect.Type{KindTrialPlan: reflect.TypeFor[TrialPlan](), KindTrialSheet: reflect.TypeFor[TrialSheet]()}
