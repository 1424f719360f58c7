package schema

import (
	"bytes"
	"path"
	"reflect"
	"strings"
	"time"

	"fettle/schema/quantity"
)

// Kinds of subjects that a decision is about.
const (
	SubjectCondition = "condition"
	SubjectMachine   = "machine"
	SubjectSettings  = "settings"
	SubjectRoster    = "roster"
	SubjectPeople    = "people"
)

// Kinds of records.
const (
	KindReason     = "reason"
	KindTrial      = "trial"
	KindApproval   = "approval"
	KindRejection  = "rejection"
	KindAdoption   = "adoption"
	KindWithdrawal = "withdrawal"
	KindPermit     = "permit"
	KindWaiver     = "waiver"
	KindLoad       = "load"
	KindEscape     = "escape"
	KindCause      = "cause"
)

// Common is what every record carries. A record is small, signed or not, and never edited once it is committed.
type Common struct {
	Head
	Library   Member[string]   `json:"library" need:"yes" is:"id32" doc:"identity of the library"`
	At        Member[string]   `json:"at" need:"yes" is:"time" doc:"when it was written, UTC"`
	By        Member[string]   `json:"by" need:"yes" is:"filled" doc:"the person, as the roster or people names them"`
	Unit      Member[string]   `json:"unit" is:"name" doc:"the real machine"`
	Follows   Member[[]string] `json:"follows" is:"digest" doc:"the decisions it was made in sight of"`
	Text      Member[string]   `json:"text" doc:"in the person's own words"`
	Signature Member[string]   `json:"signature" canon:"no" doc:"SSHSIG over the canonical form, namespace fettle"`
}

// Time returns the time of the record, or the zero time.
func (c *Common) Time() time.Time { t, _ := time.Parse(time.RFC3339, c.At.V); return t }

func (c *Common) common() *Common { return c }

// Change is one step of a recipe that a reason explains.
type Change struct {
	Kind Member[string] `json:"kind" word:"subject" doc:"condition if absent"`
	ID   Member[string] `json:"id" need:"yes" is:"filled" doc:"id of the condition, name of the machine"`
	From Member[string] `json:"from" need:"yes" is:"digest" null:"ok" doc:"digest before; null for new"`
	To   Member[string] `json:"to" need:"yes" is:"digest" null:"ok" doc:"digest after; null for removed"`
}

// Reason says why recipes changed and what was ruled out before.
type Reason struct {
	Common
	Changes  Member[[]Change] `json:"changes" need:"yes" doc:"what changed"`
	Cause    Member[string]   `json:"cause" need:"yes" word:"cause" doc:"why"`
	RuledOut Member[[]string] `json:"ruled_out" word:"ruledout" doc:"what was checked and found good before"`
	Trials   Member[[]string] `json:"trials" is:"digest" doc:"trial records that support it"`
}

// Measured are figures taken from a trial cut. Terms of ISO 9013.
type Measured struct {
	Perpendicularity Member[quantity.Length]      `json:"perpendicularity" doc:"perpendicularity or angularity tolerance u"`
	Roughness        Member[quantity.Length]      `json:"roughness" doc:"mean height of the profile Rz5"`
	Dross            Member[quantity.Length]      `json:"dross" doc:"height of dross"`
	Kerf             Member[quantity.Length]      `json:"kerf" doc:"kerf width"`
	PierceTime       Member[quantity.Duration]    `json:"pierce_time" doc:"time until the pierce was through"`
	NozzleHeat       Member[string]               `json:"nozzle" word:"heat" doc:"nozzle after the cut: cold, warm or hot; beam off, head parked, contact thermometer"`
	NozzleDegrees    Member[quantity.Temperature] `json:"nozzle_temperature" doc:"the same in degrees, by contact thermometer"`

	PerpendicularityPoints Member[[]quantity.Length] `json:"perpendicularity_points" doc:"u at each measuring point; its mean counts where perpendicularity is absent"`
	RoughnessPoints        Member[[]quantity.Length] `json:"roughness_points" doc:"Rz5 at each measuring point; its mean counts where roughness is absent"`
}

// Step is one trial cut.
type Step struct {
	Changed  Table[string]    `json:"changed" keys:"filled" doc:"values that differ from those tried: cut.pressure and so on"`
	Observed Member[[]string] `json:"observed" word:"symptom" doc:"what was seen"`
	Measured Member[Measured] `json:"measured" doc:"what was measured"`
	Outcome  Member[string]   `json:"outcome" need:"yes" word:"outcome" doc:"good, marginal or bad"`
	Text     Member[string]   `json:"text" doc:"in the person's own words"`
	Coupon   Member[int]      `json:"coupon" from:"1" doc:"number of the piece in the plan"`
	Plate    Member[int]      `json:"plate" from:"1" doc:"which of the plates, counted from 1"`
	Photos   Member[[]Photo]  `json:"photos" doc:"pictures of it"`
}

// Trial is a ladder of test cuts, or one.
type Trial struct {
	Common
	ID            Member[string]     `json:"id" need:"yes" is:"id" doc:"the condition"`
	Digest        Member[string]     `json:"digest" need:"yes" is:"digest" doc:"digest of the values"`
	Values        Member[Values]     `json:"values" need:"yes" doc:"the recipe that was loaded"`
	MachineValues Member[BeamAndJet] `json:"machine_values" doc:"what of the machine shaped beam and jet"`
	Plate         Member[string]     `json:"plate" is:"line" doc:"the plate it was cut from"`
	Lot           Member[string]     `json:"lot" is:"line" doc:"its lot or heat number"`
	Steps         Member[[]Step]     `json:"steps" need:"yes" doc:"the cuts, in order"`

	Plan       Member[string]        `json:"plan" is:"digest" doc:"digest of the plan it was cut by"`
	Grade      Member[string]        `json:"grade" is:"line" doc:"grade of the plate, as on its certificate; that of the values if absent"`
	NozzleUsed Member[string]        `json:"nozzle_used" is:"line" doc:"the nozzle: its number, new or worn"`
	Overrides  Table[quantity.Ratio] `json:"overrides" keys:"name" doc:"overrides that stood at the machine: feed, power, pressure"`
}

// Subject is one thing that a decision is about, kept by value.
type Subject struct {
	Kind          Member[string]     `json:"kind" need:"yes" word:"subject" doc:"what it is"`
	ID            Member[string]     `json:"id" need:"yes" is:"filled" doc:"id of the condition, name of the machine; the kind itself for the rest"`
	Digest        Member[string]     `json:"digest" need:"yes" is:"digest" null:"ok" doc:"digest of the values; null where a removal is decided"`
	Values        Member[*Node]      `json:"values" doc:"the content itself"`
	MachineValues Member[BeamAndJet] `json:"machine_values" doc:"what of the machine shaped beam and jet"`
	Known         Member[[]string]   `json:"known" is:"filled" doc:"warnings that stood at adoption and stay quiet until the content changes"`
}

// FileOf is the file that holds the roster, the people, the settings or a machine; "" for a condition, which may stand in any set.
func FileOf(subject, name string) string {
	switch subject {
	case SubjectRoster:
		return RosterFile
	case SubjectPeople:
		return PeopleFile
	case SubjectSettings:
		return SettingsFile
	case SubjectMachine:
		return "machines/" + name + ".json"
	}
	return ""
}

// Decision is an approval, a rejection or an adoption.
type Decision struct {
	Common
	Subjects Member[[]Subject] `json:"subjects" need:"yes" doc:"what is decided"`
	Trials   Member[[]string]  `json:"trials" is:"digest" doc:"trial records it rests on"`
	Keeps    Member[[]string]  `json:"keeps" is:"digest" doc:"decisions of dropped persons that a new roster keeps"`
}

// Withdrawal takes one record back.
type Withdrawal struct {
	Common
	Record Member[string] `json:"record" need:"yes" is:"digest" doc:"the record taken back"`
}

// Permit lets a recipe run before the lead can decide.
type Permit struct {
	Common
	ID     Member[string] `json:"id" need:"yes" is:"id" doc:"the condition"`
	Digest Member[string] `json:"digest" need:"yes" is:"digest" doc:"the recipe"`
	Lot    Member[string] `json:"lot" is:"line" doc:"the plate lot it is for"`
	Until  Member[string] `json:"until" need:"yes" is:"time" doc:"when it ends; 72 h at most"`
}

// Waiver accepts a finding on one recipe.
type Waiver struct {
	Common
	Rule   Member[string] `json:"rule" need:"yes" is:"name" doc:"the rule"`
	ID     Member[string] `json:"id" need:"yes" is:"id" doc:"the condition"`
	Digest Member[string] `json:"digest" need:"yes" is:"digest" doc:"the recipe; the waiver ends when it changes"`
	Until  Member[string] `json:"until" need:"yes" is:"time" doc:"when it ends"`
}

// Loaded is one recipe that went onto a machine.
type Loaded struct {
	ID     Member[string] `json:"id" need:"yes" is:"id" doc:"the condition"`
	Digest Member[string] `json:"digest" need:"yes" is:"digest" doc:"the recipe"`
}

// Load says what went onto a machine.
type Load struct {
	Common
	Since  Member[string]   `json:"since" is:"time" doc:"when they went on, where that was before this was written"`
	Loaded Member[[]Loaded] `json:"loaded" need:"yes" doc:"the recipes"`
}

// Escape says which bad parts got out.
type Escape struct {
	Common
	IDs     Member[[]string] `json:"ids" is:"id" doc:"the conditions; all that was loaded on the unit if absent"`
	Symptom Member[[]string] `json:"symptom" word:"symptom" doc:"what is wrong with the parts"`
	From    Member[string]   `json:"from" is:"time" doc:"cut from"`
	To      Member[string]   `json:"to" is:"time" doc:"cut until"`
	Found   Member[string]   `json:"found" is:"time" doc:"when it was found"`
	Job     Member[string]   `json:"job" is:"line" doc:"the job"`
	Lot     Member[string]   `json:"lot" is:"line" doc:"the plate lot"`

	Overrides Table[quantity.Ratio] `json:"overrides" keys:"name" doc:"overrides that stood at the machine: feed, power, pressure"`
}

// Cause says what a bad cut turned out to be where the recipe was innocent.
type Cause struct {
	Common
	ID      Member[string]   `json:"id" need:"yes" is:"id" doc:"the condition"`
	Symptom Member[[]string] `json:"symptom" word:"symptom" doc:"what was seen"`
	Found   Member[string]   `json:"found" need:"yes" word:"ruledout" doc:"what it was"`

	RuledOut  Member[[]string]      `json:"ruled_out" word:"ruledout" doc:"what was checked and found good before"`
	Overrides Table[quantity.Ratio] `json:"overrides" keys:"name" doc:"overrides that stood at the machine: feed, power, pressure"`
}

var recordTypes = map[string]reflect.Type{
	KindReason: reflect.TypeFor[Reason](), KindTrial: reflect.TypeFor[Trial](), KindApproval: reflect.TypeFor[Decision](),
	KindRejection: reflect.TypeFor[Decision](), KindAdoption: reflect.TypeFor[Decision](), KindWithdrawal: reflect.TypeFor[Withdrawal](),
	KindPermit: reflect.TypeFor[Permit](), KindWaiver: reflect.TypeFor[Waiver](), KindLoad: reflect.TypeFor[Load](),
	KindEscape: reflect.TypeFor[Escape](), KindCause: reflect.TypeFor[Cause](),
}

// A Body is the typed content of a record: one of *Reason, *Trial, *Decision, *Withdrawal, *Permit, *Waiver, *Load, *Escape, *Cause.
type Body interface{ common() *Common }

// A Record is one file below records/.
type Record struct {
	Path     string // from the root of the library
	Kind     string
	Digest   Digest // of the canonical form without the signature
	Body     Body
	*Common         // of Body
	Message  []byte // what is signed: the canonical form
	Problems []Problem
	subjects []Span // of a decision that was read; see SubjectsAt
}

// SubjectsAt says where the subjects of a decision stand in the file that it was read from, nil of any other record.
func (r *Record) SubjectsAt() []Span { return r.subjects }

// NewRecord makes the record of a body whose head, time and person are filled in. The signature, if any, is already in it.
func NewRecord(body Body) *Record {
	n := Encode(body)
	r := &Record{Kind: body.common().Kind.V, Body: body, Common: body.common()}
	r.Message = recordMessage(n)
	r.Digest = DigestOf(r.Message)
	r.Path = r.WantPath()
	return r
}

// Bytes returns the file of the record.
func (r *Record) Bytes() []byte { return Layout(Encode(r.Body)) }

// WantPath is the path that the record's own content asks for: records/2026/07/20260714T091205Z-approval-3f9a0c1b2d4e.json.
func (r *Record) WantPath() string {
	at := r.Time().UTC()
	return at.Format("records/2006/01/20060102T150405Z-") + r.Kind + "-" + r.Digest.Short() + ".json"
}

// recordMessage is the canonical form of a record: the file without its signature, as RFC 8785 writes it. The signature covers it.
func recordMessage(n *Node) []byte { return appendRecordMessage(nil, n) }

func appendRecordMessage(b []byte, n *Node) []byte {
	bare := *n
	bare.Kids = nil
	for _, kid := range n.Kids {
		if kid.Key != "signature" && kid.Key != "$schema" {
			bare.Kids = append(bare.Kids, kid)
		}
	}
	return appendCanonicalNode(b, &bare)
}

// ReadRecord reads the bytes of a record file. Problems are in the record; only a file that is no JSON object has no body.
func ReadRecord(path string, data []byte) *Record {
	return readRecord(path, data, nil, signed)
}

// signed notes what is signed of a record, and its digest.
func signed(r *Record, root *Node, s *scanner) {
	s.canonical = appendRecordMessage(s.canonical[:0], root)
	r.Message = bytes.Clone(s.canonical)
	r.Digest = DigestOf(r.Message)
}

// ReadRecordKnown is [ReadRecord] of a record whose digest is known, and whose signature nobody will look at.
func ReadRecordKnown(path string, data []byte, digest Digest) *Record {
	return readRecord(path, data, nil, func(r *Record, _ *Node, _ *scanner) { r.Digest = digest })
}

func readRecord(path string, data []byte, spare *Sparing, digest func(*Record, *Node, *scanner)) *Record {
	f := &File{Path: path, Data: data}
	s := scanners.Get().(*scanner)
	defer s.release()
	s.spare = spare
	root := f.read(s)
	r := &Record{Path: path, Problems: f.Problems}
	if root == nil {
		return r
	}
	r.Kind = f.Kind
	if body, ok := f.Value.(Body); ok {
		r.Body, r.Common = body, body.common()
		digest(r, root, s)
		if _, ok := body.(*Decision); ok {
			r.subjects = itemsOf(root.Get("subjects"))
		}
	}
	return r
}

// IsNone reports whether the file is no record at all, of no kind that this or a later fettle could know: something that got below
// records/ by mistake.
func (r *Record) IsNone() bool { return r.Body == nil && r.Kind == "" }

// IsRecordPath reports whether a path of the library lies where records do.
func IsRecordPath(path string) bool { return strings.HasPrefix(path, "records/") }

// NamesKind reports whether a record is of a kind by the name of its file, whatever it holds.
func NamesKind(file, kind string) bool { return strings.Contains(path.Base(file), "-"+kind+"-") }
