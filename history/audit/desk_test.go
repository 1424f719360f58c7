package audit_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/history/signature"
	"fettle/schema"
)

const (
	northgate = "7f3c1e9a5b2d48069c4ae1d07b86f25d"
	mara      = "mara.lind@northgate.example" // writes
	jonas     = "jonas.falk@northgate.example"
	setFile   = "sets/bay-2/carbon-steel-oxygen.json"
	tenMM     = "bay-2/carbon-steel/oxygen/10mm"
)

// A desk is where Mara changes conditions and Jonas approves them, each step a commit of the real git.
type desk struct {
	*gittest.Repo
	t   *testing.T
	now time.Time
}

func newDesk(t *testing.T) *desk {
	d := &desk{Repo: gittest.New(t), t: t, now: gittest.Start.Add(-30 * time.Second)}
	d.Write("fettle.json", `{"kind":"library","format":1,"id":"`+northgate+`","name":"Northgate plate shop"}`+"\n")
	d.Write("approvers", line(t, jonas))
	d.Write("people", line(t, mara))
	d.set("0.40 bar", "2.9 m/min")
	d.Commit("the first set")
	return d
}

// Commit is that of the repository; the clock of records runs half a minute before the one of commits.
func (d *desk) Commit(message string, paths ...string) string {
	d.now = d.now.Truncate(time.Minute).Add(90 * time.Second)
	return d.Repo.Commit(message, paths...)
}

func signer(name string) signature.Signer {
	seed := sha256.Sum256([]byte(name))
	return signature.NewSigner(ed25519.NewKeyFromSeed(seed[:]))
}

func line(t *testing.T, name string) string {
	text, err := signature.FormatLine(name, signer(name).PublicKey(), "")
	if err != nil {
		t.Fatal(err)
	}
	return text + "\n"
}

// set writes the condition set with a pressure and a speed.
func (d *desk) set(pressure, speed string) { d.Write(setFile, setText(pressure, speed)) }

func setText(pressure, speed string) string {
	return fmt.Sprintf(`{
  "kind": "condition-set",
  "format": 1,
  "machine": "bay-2",
  "material": "carbon-steel",
  "gas": "oxygen",
  "conditions": [
    {
      "thickness": "10 mm",
      "nozzle": {
        "form": "double",
        "orifice": "1.2 mm",
        "standoff": "1.0 mm"
      },
      "cut": {
        "power": "2.2 kW",
        "speed": %q,
        "pressure": %q,
        "focus": "3 mm"
      }
    }
  ]
}
`, speed, pressure)
}

// saved is the library of the last commit.
func (d *desk) saved() *schema.Library {
	r, err := git.OpenOther(d.Dir)
	if err != nil {
		d.t.Fatal(err)
	}
	defer r.Close()
	snap, err := r.Commit("HEAD", "")
	if err != nil {
		d.t.Fatal(err)
	}
	lib, err := schema.ReadLibrary(snap)
	if err != nil {
		d.t.Fatal(err)
	}
	return lib
}

// digest is that of the condition with a pressure and a speed.
func digest(t *testing.T, pressure, speed string) string {
	f := schema.ReadFile(setFile, []byte(setText(pressure, speed)))
	set := f.Value.(*schema.ConditionSet)
	r := schema.Recipe{Set: set, Condition: &set.Conditions.V[0]}
	return string(r.Digest())
}

func (d *desk) common(kind, by, text string) schema.Common {
	d.now = d.now.Add(time.Second)
	return schema.Common{Head: schema.Head{Kind: schema.Of(kind), Format: schema.Of(1)}, Library: schema.Of(northgate),
		At: schema.Of(d.now.Format(time.RFC3339)), By: schema.Of(by), Text: schema.Of(text)}
}

// put writes a record, signed where a signer is given, and returns it. Committing is left to the caller.
func (d *desk) put(body schema.Body, common *schema.Common, by string) *schema.Record {
	r := schema.NewRecord(body)
	if by != "" {
		armored, err := signer(by).Sign(r.Message)
		if err != nil {
			d.t.Fatal(err)
		}
		common.Signature = schema.Of(armored)
		r = schema.NewRecord(body)
	}
	d.Write(r.Path, string(r.Bytes()))
	return r
}

// adopt makes what stands the baseline.
func (d *desk) adopt() *schema.Record {
	b := &schema.Decision{Common: d.common(schema.KindAdoption, jonas, "in use"), Subjects: schema.Of(history.CurrentSubjects(d.saved()))}
	r := d.put(b, &b.Common, jonas)
	d.Commit("adopt")
	return r
}

// approve puts the saved condition in force.
func (d *desk) approve(follows ...*schema.Record) *schema.Record {
	lib := d.saved()
	b := &schema.Decision{Common: d.common(schema.KindApproval, jonas, "cut well"), Subjects: schema.Of([]schema.Subject{history.ConditionSubject(lib, lib.Recipes[0])})}
	var digests []string
	for _, f := range follows {
		digests = append(digests, string(f.Digest))
	}
	b.Follows = schema.Of(digests)
	r := d.put(b, &b.Common, jonas)
	d.Commit("approve")
	return r
}

// reason writes why the condition goes from one digest to another.
func (d *desk) reason(from, to, text string) *schema.Record {
	b := &schema.Reason{Common: d.common(schema.KindReason, mara, text), Cause: schema.Of("quality-target"),
		Changes: schema.Of([]schema.Change{{ID: schema.Of(tenMM), From: schema.Of(from), To: schema.Of(to)}})}
	return d.put(b, &b.Common, "")
}

// edit saves the condition with new values, with a reason where a text is given.
func (d *desk) edit(from, to [2]string, why string) string {
	d.set(to[0], to[1])
	if why != "" {
		d.reason(digest(d.t, from[0], from[1]), digest(d.t, to[0], to[1]), why)
	}
	return d.Commit("edit")
}

func (d *desk) trail() *audit.Trail { return read(d.t, d.Repo, "") }

// tell is the timeline in short lines, for comparing.
func tell(entries []audit.Entry) string {
	var b strings.Builder
	for _, e := range entries {
		switch {
		case e.IsChange():
			fmt.Fprintf(&b, "%s %s %s -> %s", e.Kind, e.Field, e.From.Text, e.To.Text)
			for _, w := range e.Why {
				fmt.Fprintf(&b, " because %s (%s)", w.Text, w.Cause)
			}
			if len(e.ApprovedBy) > 0 {
				fmt.Fprintf(&b, " approved by %s", strings.Join(e.ApprovedBy, ", "))
			}
			if later := e.ApprovedLater(); len(later) > 0 {
				fmt.Fprintf(&b, " approved later by %s", strings.Join(later, ", "))
			}
		default:
			fmt.Fprintf(&b, "%s %s", e.Kind, e.ID)
		}
		b.WriteString("\n")
	}
	return b.String()
}
