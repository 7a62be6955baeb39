package text

import (
	"math"
	"strings"

	"twobin/training/review/report"
)

// grid is a plot of characters: rows from the top, columns from the left.
type grid struct {
	w, h     int
	cell     [][]byte
	lo, hi   float64 // of the vertical axis
	from, to float64 // of the horizontal axis
}

func newGrid(w, h int, from, to, lo, hi float64) *grid {
	if !(hi > lo) {
		hi = lo + 1
	}
	if !(to > from) {
		to = from + 1
	}
	g := &grid{w: w, h: h, lo: lo, hi: hi, from: from, to: to}
	for range h {
		g.cell = append(g.cell, []byte(strings.Repeat(" ", w)))
	}
	return g
}

func (g *grid) col(x float64) int {
	return int(math.Round((x - g.from) / (g.to - g.from) * float64(g.w-1)))
}

func (g *grid) rowOf(y float64) int {
	return g.h - 1 - int(math.Round((y-g.lo)/(g.hi-g.lo)*float64(g.h-1)))
}

// put sets one character; what lies outside is drawn at the edge.
func (g *grid) put(x, y float64, c byte) {
	g.cell[min(max(g.rowOf(y), 0), g.h-1)][min(max(g.col(x), 0), g.w-1)] = c
}

// level draws a line across, where nothing is yet.
func (g *grid) level(y float64, c byte) {
	r := g.rowOf(y)
	if r < 0 || r >= g.h {
		return
	}
	for i := range g.cell[r] {
		if g.cell[r][i] == ' ' {
			g.cell[r][i] = c
		}
	}
}

// draw writes the grid with its vertical axis in seconds at both ends and in the middle.
func (g *grid) draw(p *page) {
	for i, r := range g.cell {
		label := ""
		if i == 0 || i == g.h-1 || i == g.h/2 {
			label = report.Seconds(g.lo + (g.hi-g.lo)*float64(g.h-1-i)/float64(g.h-1))
		}
		p.line(strings.Repeat(" ", max(0, 8-len(label))) + label + " |" + string(r))
	}
	p.line(strings.Repeat(" ", 9) + "+" + strings.Repeat("-", g.w))
}

// ends writes the two ends of the horizontal axis.
func (g *grid) ends(p *page, left, right string) {
	p.line(strings.Repeat(" ", 10) + left + strings.Repeat(" ", max(1, g.w-len(left)-len(right))) + right)
}

const (
	plotWide = 66
	plotHigh = 12
)

// curvePlot draws run times, the fitted curve and the standard.
func curvePlot(p *page, c report.Curve, t report.Times) {
	if len(c.Points) < 2 {
		return
	}
	last := c.Points[len(c.Points)-1].N
	hi := t.Standard
	for _, pt := range c.Points {
		hi = max(hi, pt.Time)
	}
	g := newGrid(plotWide, plotHigh, float64(c.Points[0].N), float64(last), 0, hi)
	if t.HasStandard {
		g.level(t.Standard, '-')
	}
	if c.OK {
		for i := range g.w {
			n := g.from + (g.to-g.from)*float64(i)/float64(g.w-1)
			g.put(n, c.First*math.Pow(n, c.B), '.')
		}
	}
	for _, pt := range c.Points {
		g.put(float64(pt.N), pt.Time, 'o')
	}
	g.draw(p)
	g.ends(p, "run "+num(c.Points[0].N), "run "+num(last))
	legend := "o one run"
	if c.OK {
		legend += "   . the curve"
	}
	if t.HasStandard {
		legend += "   - the standard, " + report.Seconds(t.Standard)
	}
	p.line(strings.Repeat(" ", 10) + legend)
}

// chartPlot draws one control chart.
func chartPlot(p *page, c report.Chart) {
	if len(c.Points) == 0 {
		return
	}
	lo, hi := 0.0, 0.0
	for _, pt := range c.Points {
		hi = max(hi, pt.Time)
	}
	if c.OK {
		lo, hi = min(lo, c.Floor()), max(hi, c.Upper)
	}
	g := newGrid(3*len(c.Points), plotHigh, 0, float64(len(c.Points)-1), lo, hi*1.05)
	if c.OK {
		g.level(c.Upper, '-')
		g.level(c.Center, '=')
		g.level(c.Floor(), '-')
	}
	for i, pt := range c.Points {
		switch {
		case pt.Missing:
			g.put(float64(i), g.lo, '/')
		case pt.Signal:
			g.put(float64(i), pt.Time, 'X')
		default:
			g.put(float64(i), pt.Time, 'o')
		}
	}
	g.draw(p)
	g.ends(p, c.Points[0].Began.Format("2 Jan"), c.Points[len(c.Points)-1].Began.Format("2 Jan"))
	p.line(strings.Repeat(" ", 10) + "o one run   X look here   / broken off   = mean   - limits")
}

// strip draws the times of a step on one line: the denser, the darker; | is the median, > more than fits.
func strip(t report.Times, hi float64, w int) string {
	if t.N == 0 {
		return strings.Repeat(" ", w)
	}
	count := make([]int, w)
	over := false
	at := func(v float64) int { return min(int(v/hi*float64(w-1)+0.5), w-1) }
	most := 0
	for _, v := range t.All {
		if v > hi {
			over = true
			continue
		}
		count[at(v)]++
		most = max(most, count[at(v)])
	}
	const shades = ".:+*#"
	b := []byte(strings.Repeat(" ", w))
	for i, n := range count {
		if n > 0 {
			b[i] = shades[min((n*len(shades)-1)/most, len(shades)-1)]
		}
	}
	b[at(min(t.Median, hi))] = '|'
	if over {
		b[w-1] = '>'
	}
	return string(b)
}
