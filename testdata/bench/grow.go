package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// A growth is what one piece of work takes at a sixteenth, a quarter and the whole of its input.
type growth struct {
	name     string
	input    [3]float64
	busy     [3]float64 // ms of processor
	exponent float64    // e of input^e, from the smallest to the largest
}

// grow measures how the work of the rows grows with their input, which is commits for S and conditions for L. It prints a table, and
// draws it into a file of its own.
func grow(dir string) error {
	b, err := open(dir)
	if err != nil {
		return err
	}
	parts := [3]string{"16", "4", ""}
	var all [3][]row
	for i, part := range parts {
		if err := b.build("S"+part, "L"+part, "M"); err != nil {
			return err
		}
		if all[i], err = b.rows("S"+part, "L"+part, "M"); err != nil {
			return err
		}
	}
	fmt.Println("| processor time of | 1/16, ms | 1/4, ms | 1, ms | exponent |")
	fmt.Println("|---|---:|---:|---:|---:|")
	var found []growth
	for k, whole := range all[2] {
		if whole.of == "" || whole.of == "M" || k > 0 && whole.same(all[2][k-1]) {
			continue
		}
		g := growth{name: whole.name}
		if whole.without {
			g.name += ", what fettle adds"
		}
		for i := range parts {
			r := all[i][k]
			z := sizes[slices.IndexFunc(sizes, func(z size) bool { return z.name == r.of })]
			if g.input[i] = float64(z.commits); strings.HasPrefix(r.of, "L") {
				g.input[i] = float64(z.machines * len(processes) * z.points)
			}
			if g.busy[i], err = r.busy(); err != nil {
				return err
			}
		}
		g.exponent = math.Log(g.busy[2]/g.busy[0]) / math.Log(g.input[2]/g.input[0])
		fmt.Printf("| %s | %.0f | %.0f | %.0f | %.2f |\n", g.name, g.busy[0], g.busy[1], g.busy[2], g.exponent)
		found = append(found, g)
	}
	out, err := os.Create(filepath.Join(b.dir, "growth.svg"))
	if err != nil {
		return err
	}
	draw(out, found)
	fmt.Fprintln(os.Stderr, "drawn into", out.Name())
	return out.Close()
}

// same reports whether fettle does the same in a row as in another, that is held against something else.
func (r *row) same(other row) bool { return r.name == other.name && r.of == other.of }

// busy is the median of the processor time of what fettle does, in ms. Where git does the same without fettle, it is what fettle adds to
// that.
func (r *row) busy() (float64, error) {
	runs, sides := 3, [][]string{r.ours}
	if r.without {
		runs, sides = 9, append(sides, r.peer)
	}
	times := make([][]time.Duration, len(sides))
	for i := range runs + 1 { // the first warms up
		for side, args := range sides {
			_, busy, _, err := r.once(args, r.fails)
			if err != nil {
				return 0, err
			}
			if i > 0 {
				times[side] = append(times[side], busy)
			}
		}
	}
	took := ms(median(times[0]))
	if r.without {
		took = max(took-ms(median(times[1])), 0.1)
	}
	return took, nil
}

// draw plots processor time over the share of the input, both logarithmic: work that grows as its input does runs along the diagonals.
func draw(out io.Writer, all []growth) {
	const width, height, left, right, top, low = 760, 460, 60, 300, 30, 40
	least, most := 1.0, 10.0
	for _, g := range all {
		for _, busy := range g.busy {
			for most < busy {
				most *= 10
			}
		}
	}
	x := func(share float64) float64 { return left + (width-left-right)*(math.Log(share*16)/math.Log(16)) }
	y := func(busy float64) float64 {
		return top + (height-top-low)*(1-math.Log(max(busy, least)/least)/math.Log(most/least))
	}
	fmt.Fprintf(out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="sans-serif" font-size="11" role="img" aria-label="processor time over the size of the input">`+"\n", width, height)
	fmt.Fprintf(out, "<rect width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n<text x=\"%d\" y=\"18\">ms of processor</text>\n", width, height, left)
	for busy := least; busy <= most; busy *= 10 {
		fmt.Fprintf(out, `<path d="M%d %.1fH%d" stroke="#ddd"/><text x="%d" y="%.1f" text-anchor="end">%g</text>`+"\n", left, y(busy), width-right, left-6, y(busy)+4, busy)
		fmt.Fprintf(out, `<path d="M%.1f %.1fL%.1f %.1f" stroke="#ddd" stroke-dasharray="2 4"/>`+"\n", x(1.0/16), y(busy/16*1.6), x(1), y(busy*1.6))
	}
	for share, name := range map[float64]string{1.0 / 16: "1/16", 1.0 / 4: "1/4", 1: "whole library"} {
		fmt.Fprintf(out, `<text x="%.1f" y="%d" text-anchor="middle">%s</text>`+"\n", x(share), height-low+18, name)
	}
	slices.SortFunc(all, func(a, b growth) int { return -int(math.Copysign(1, a.busy[2]-b.busy[2])) })
	colours, dashes := []string{"#0072b2", "#b34700", "#007a5a", "#a3195b", "#333333"}, []string{"none", "6 3", "2 3"}
	next := float64(top)
	for i, g := range all {
		colour, dash := colours[i%len(colours)], dashes[i/len(colours)%len(dashes)]
		label := max(next, y(g.busy[2]))
		next = label + 14
		fmt.Fprintf(out, `<path d="M%.1f %.1fL%.1f %.1fL%.1f %.1f" fill="none" stroke="%s" stroke-width="2" stroke-dasharray="%s"/>`+"\n",
			x(g.input[0]/g.input[2]), y(g.busy[0]), x(g.input[1]/g.input[2]), y(g.busy[1]), x(1), y(g.busy[2]), colour, dash)
		fmt.Fprintf(out, `<path d="M%.1f %.1fL%d %.1f" stroke="%s" stroke-width=".7"/><text x="%d" y="%.1f" fill="%s">%s: %.2f</text>`+"\n",
			x(1), y(g.busy[2]), width-right+18, label, colour, width-right+22, label+4, colour, g.name, g.exponent)
	}
	io.WriteString(out, "</svg>\n")
}
