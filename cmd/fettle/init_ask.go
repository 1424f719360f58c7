package main

import (
	"bufio"
	"fmt"
	"net/mail"
	"path/filepath"
	"strconv"
	"strings"

	"fettle/history/git"
	"fettle/schema"
)

// A newMachine is what a profile begins with. The rest is filled in by hand, and what is missing until then, no check judges.
type newMachine struct {
	name, power string
	nozzles     []string // double 1.2 mm
	gases       []string // oxygen 6 bar
}

// profile is the file of a machine. What cannot be read in it is told by reading it.
func (m newMachine) profile() []byte {
	var nozzles, gases []string
	for _, n := range m.nozzles {
		form, orifice, _ := strings.Cut(strings.TrimSpace(n), " ")
		nozzles = append(nozzles, fmt.Sprintf(`{"form": %q, "orifice": %q}`, form, withUnit(orifice, "mm")))
	}
	for _, g := range m.gases {
		gas, pressure, _ := strings.Cut(strings.TrimSpace(g), " ")
		gases = append(gases, fmt.Sprintf(`%q: {"line_pressure": %q}`, gas, withUnit(pressure, "bar")))
	}
	return fmt.Appendf(nil, `{"kind": "machine", "format": 1, "name": %q, "units": [%q], "laser": {"rated_power": %q},
		"head": {"nozzles": [%s]}, "gas": {%s}}`, m.name, m.name, withUnit(m.power, "kW"), strings.Join(nozzles, ", "), strings.Join(gases, ", "))
}

// withUnit adds the unit that was asked for to a bare number.
func withUnit(text, unit string) string {
	text = strings.TrimSpace(text)
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		return text + " " + unit
	}
	return tightUnit().ReplaceAllString(text, "$1 $2")
}

// plainName makes a name of a-z, 0-9 and hyphens of what people call a machine: Bay 1 is bay-1.
func plainName(called string) string {
	name := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			return r
		case r == ' ' || r == '_' || r == '-' || r == '.' || r == '/':
			return '-'
		}
		return -1
	}, strings.ToLower(strings.TrimSpace(called)))
	return strings.Trim(name, "-")
}

// questions asks on a terminal, and asks again where an answer cannot be used.
type questions struct {
	*shop
	in *bufio.Reader
}

// ask gives the answer, or the fallback for none. Where take says what is wrong with it, that is shown and the question comes again.
func (q *questions) ask(question, fallback string, take func(answer string) (wrong string)) {
	if fallback != "" {
		question += " [" + fallback + "]"
	}
	for range 10 {
		answer := prompt(q.shop, q.in, question)
		if answer == "" {
			answer = fallback
		}
		wrong := take(answer)
		if wrong == "" {
			return
		}
		q.tell("  %s", clean(wrong))
	}
}

func (q *questions) list(question string, fallback []string, take func(answers []string) string) {
	q.ask(question, strings.Join(fallback, ", "), func(answer string) string {
		return take(strings.FieldsFunc(answer, func(r rune) bool { return r == ',' || r == ';' }))
	})
}

// askWho asks who sits here where git does not know, and tells git, for this library alone.
func (q *questions) askWho(repo *git.Repo) error {
	var name, address string
	q.tell("git does not know you yet. It writes your name beside each change that you save.")
	q.ask("Your name, such as Mara Lind", "", func(answer string) string {
		if name = answer; strings.ContainsAny(name, "<>") || name == "" {
			return "A name is needed."
		}
		return ""
	})
	q.ask("Your mail address", "", func(answer string) string {
		parsed, err := mail.ParseAddress(answer)
		if err != nil || parsed.Name != "" {
			return "An address like mara.lind@shop.example is needed; nothing is sent to it."
		}
		address = answer
		return ""
	})
	if name == "" || address == "" {
		_, _, err := repo.Identity()
		return err
	}
	if err := repo.ConfigSet("user.name", name); err != nil {
		return err
	}
	return repo.ConfigSet("user.email", address)
}

// askInit asks what the flags left open.
func (s *shop) askInit(in *bufio.Reader, f *initFlags) error {
	if f.yes || !s.terminal {
		if f.name == "" {
			f.name = filepath.Base(s.root)
		}
		if len(f.machines) == 0 {
			f.machines = []string{"machine-1"}
		}
		return nil
	}
	q := &questions{s, in}
	if f.name == "" {
		q.ask("What is the shop called?", filepath.Base(s.root), func(answer string) string {
			f.name = answer
			return ""
		})
	}
	if len(f.machines) == 0 {
		q.list("Which machines? With commas between them", []string{"bay-1"}, func(answers []string) string {
			f.machines = nil
			for _, called := range answers {
				name := plainName(called)
				if name == "" {
					return fmt.Sprintf("%q has no letter of a-z and no digit, and ids are made of these.", called)
				}
				if name != strings.TrimSpace(called) {
					q.tell("  %s is called %s in files and ids", strings.TrimSpace(called), name)
				}
				f.machines = append(f.machines, name)
			}
			return ""
		})
	}
	for _, name := range f.machines {
		f.known = append(f.known, q.askMachine(f.machine(name)))
	}
	q.ask("How many persons must approve a change?", fmt.Sprint(f.approvals), func(answer string) string {
		n, err := strconv.Atoi(answer)
		if err != nil || n < 1 {
			return "A number is needed, 1 or more."
		}
		f.approvals = n
		return ""
	})
	q.ask("May somebody approve what they changed themselves? yes only where one works alone", map[string]string{"refuse": "no", "allow": "yes"}[f.own], func(answer string) string {
		switch f.own = strings.ToLower(answer); f.own {
		case "y", "yes", "allow":
			f.own = "allow"
		case "n", "no", "refuse":
			f.own = "refuse"
		default:
			f.own = "refuse"
			return "yes or no"
		}
		return ""
	})
	if _, err := s.signer(); err != nil && !f.key {
		q.ask("Decisions are signed, and you have no key for that. Make one?", "yes", func(answer string) string {
			f.key = strings.HasPrefix(strings.ToLower(answer), "y")
			return ""
		})
	}
	return nil
}

// askMachine asks for what every profile needs.
func (q *questions) askMachine(m newMachine) newMachine {
	wrong := func() string {
		if problems := schema.ReadFile("machines/"+m.name+".json", m.profile()).Problems; len(problems) > 0 {
			return strings.TrimSpace(problems[0].Message + ". " + problems[0].Help)
		}
		return ""
	}
	q.ask("Rated power of "+m.name, m.power, func(answer string) string {
		m.power = answer
		return wrong()
	})
	q.list("Its nozzles", m.nozzles, func(answers []string) string {
		m.nozzles = answers
		return parted(answers, wrong)
	})
	q.list("Its gas lines", m.gases, func(answers []string) string {
		m.gases = answers
		return parted(answers, wrong)
	})
	return m
}

// parted catches a decimal comma, which parts a list.
func parted(answers []string, wrong func() string) string {
	for _, item := range answers {
		if item = strings.TrimSpace(item); item == "" || item[0] >= '0' && item[0] <= '9' {
			return "Commas part the list, so decimals take a point: double 1.2"
		}
	}
	return wrong()
}
