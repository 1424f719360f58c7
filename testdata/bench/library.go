package main

import (
	_ "embed"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
)

// A process is how one material is cut with one gas: curves over thickness of the shape that such tables have. They are invented and
// plausible; the linter finds little in them.
type process struct {
	material, gas string
	thin, thick   float64 // mm
	form          string
	oxygen        bool
	speed, slope  float64 // m/min at 1 mm, and its exponent over thickness
}

// processes are the sets of every machine.
var processes = []process{
	{"carbon-steel", "oxygen", 3, 25, "double", true, 8.6, -0.57},
	{"weathering-steel", "oxygen", 3, 25, "double", true, 8.2, -0.57},
	{"carbon-steel", "nitrogen", 2, 12, "single", false, 61, -1.13},
	{"carbon-steel", "air", 2, 12, "single", false, 64, -1.13},
	{"galvanized-steel", "nitrogen", 2, 8, "single", false, 56, -1.12},
	{"stainless-steel", "nitrogen", 2, 16, "single", false, 61, -1.24},
	{"stainless-steel", "air", 2, 12, "single", false, 62, -1.24},
	{"stainless-steel", "forming-95-5", 2, 12, "single", false, 58, -1.24},
	{"aluminium", "nitrogen", 2, 16, "single", false, 68, -1.16},
	{"aluminium", "air", 2, 12, "single", false, 70, -1.16},
}

// A condition is the part of one that edits change.
type condition struct {
	thickness, power, speed, pressure, focus, kerf float64
	orifice                                        string
	pierce                                         float64 // s
}

// family lays count conditions over the range of a process, evenly on a logarithmic scale, no two within 0.05 mm.
func (p process) family(count int) []condition {
	out := make([]condition, 0, count)
	for i := range count {
		t := p.thin * math.Pow(p.thick/p.thin, float64(i)/float64(count-1))
		t = math.Round(t*20) / 20
		if len(out) > 0 && t <= out[len(out)-1].thickness {
			t = out[len(out)-1].thickness + 0.05
		}
		c := condition{thickness: t, speed: p.speed * math.Pow(t, p.slope), pierce: 0.05 * math.Pow(t, 1.1)}
		if p.oxygen {
			c.power, c.pressure, c.focus, c.kerf = 1.25*math.Pow(t, 0.66), 1.5*math.Pow(t, -0.36), 0.6*t, 0.22*math.Pow(t, 0.38)
			c.orifice = step(t, "1.2 mm", 6, "1.4 mm", 10, "1.5 mm", 14, "2.0 mm", 22, "2.5 mm")
		} else {
			c.power, c.pressure, c.focus, c.kerf = 12, 8.6*math.Pow(t, 0.26), -0.6*t, 0.17*math.Pow(t, 0.4)
			c.orifice = step(t, "1.5 mm", 2.5, "2.0 mm", 5.5, "2.5 mm", 9, "3.0 mm", 13, "3.5 mm")
			if p.gas == "air" {
				c.pressure = 6.4 * math.Pow(t, 0.22)
			}
		}
		out = append(out, c)
	}
	return out
}

func step(t float64, steps ...any) string {
	for i := 1; i < len(steps); i += 2 {
		if at, ok := steps[i].(int); ok && t < float64(at) {
			return steps[i-1].(string)
		} else if at, ok := steps[i].(float64); ok && t < at {
			return steps[i-1].(string)
		}
	}
	return steps[len(steps)-1].(string)
}

// digits rounds to so many significant digits, as people write numbers.
func digits(x float64, n int) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', n, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// text is the file of a set, in the layout of fettle format.
func (p process) text(machine string, list []condition) string {
	var b strings.Builder
	fmt.Fprintf(&b, "{\n  \"kind\": \"condition-set\",\n  \"format\": 1,\n  \"machine\": %q,\n  \"material\": %q,\n  \"gas\": %q,\n  \"conditions\": [\n", machine, p.material, p.gas)
	for i, c := range list {
		standoff, stage := "0.7 mm", digits(0.4*c.pressure, 2)
		if p.oxygen {
			standoff, stage = "1.0 mm", "1.2"
		}
		fmt.Fprintf(&b, `    {
      "thickness": "%s mm",
      "nozzle": {
        "form": %q,
        "orifice": %q,
        "standoff": %q
      },
      "cut": {
        "power": "%s kW",
        "speed": "%s m/min",
        "pressure": "%s bar",
        "focus": "%s mm",
        "mode": "continuous"
      },
      "pierce": [
        {
          "power": "%s kW",
          "time": "%s s",
          "pressure": "%s bar",
          "mode": "pulsed",
          "frequency": "500 Hz",
          "duty": "50 %%"
        }
      ],
      "kerf": "%s mm"
    }`, digits(c.thickness, 5), p.form, c.orifice, standoff, digits(c.power, 3), digits(c.speed, 3), digits(c.pressure, 3), digits(c.focus, 2),
			digits(min(8, 1.2*math.Pow(c.thickness, 0.6)), 2), digits(c.pierce, 2), stage, digits(c.kerf, 2))
		if i < len(list)-1 {
			b.WriteByte(',')
		}
		b.WriteByte('\n')
	}
	b.WriteString("  ]\n}\n")
	return b.String()
}

// nudge changes one value of a condition by a few percent, as tuning does. It always changes what is written.
func (c *condition) nudge(random *rand.Rand) {
	factor := 1 + (0.02+0.03*random.Float64())*float64(1-2*random.IntN(2))
	switch random.IntN(3) {
	case 0:
		c.speed *= factor
	case 1:
		c.pressure *= factor
	default:
		c.pierce *= 1 + 2*(factor-1)
	}
}

//go:embed machine.json
var machineText string

//go:embed settings.json
var settingsText string
