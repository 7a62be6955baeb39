package paper

import (
	"fmt"
	"math"
	"time"

	"twobin/training/review/report"
)

// plot is one drawing in SVG's units, y downwards.
type plot struct {
	W, H float64
	// Title is what a screen reader says instead of the drawing.
	Title string
	Lines []line
	Paths []path
	Marks []mark
	Words []word
}

// line is a straight line; Class chooses width and dash: axis, mean, limit, standard, median, tick.
type line struct {
	X1, Y1, X2, Y2 float64
	Class          string
}

// path joins points.
type path struct{ Points, Class string }

// mark is a sign with a text that shows on pointing: dot, cross, slash.
type mark struct {
	X, Y  float64
	Class string
	Tip   string
}

// word is a text; Class is start, middle or end.
type word struct {
	X, Y  float64
	Class string
	Text  string
}

// frame maps values to the drawing.
type frame struct {
	left, top, w, h  float64
	from, to, lo, hi float64
}

func (f frame) x(v float64) float64 {
	if f.to <= f.from {
		return f.left + f.w/2
	}
	return round(f.left + (v-f.from)/(f.to-f.from)*f.w)
}

func (f frame) y(v float64) float64 {
	if f.hi <= f.lo {
		return f.top + f.h
	}
	return round(f.top + f.h - (v-f.lo)/(f.hi-f.lo)*f.h)
}

// round keeps files short: a tenth of a unit cannot be seen.
func round(v float64) float64 { return math.Round(v*10) / 10 }

// across draws a level line with its word at the right.
func (p *plot) across(f frame, v float64, class, text string) {
	p.Lines = append(p.Lines, line{f.left, f.y(v), f.left + f.w, f.y(v), class})
	if text != "" {
		p.Words = append(p.Words, word{f.left + f.w + 4, f.y(v) + 4, "start", text})
	}
}

// axis draws the vertical axis with round values, in seconds.
func (p *plot) axis(f frame) {
	p.Lines = append(p.Lines, line{f.left, f.top, f.left, f.top + f.h, "axis"}, line{f.left, f.top + f.h, f.left + f.w, f.top + f.h, "axis"})
	step := nice((f.hi - f.lo) / 4)
	for v := math.Ceil(f.lo/step) * step; v <= f.hi+1e-9; v += step {
		p.Lines = append(p.Lines, line{f.left - 4, f.y(v), f.left, f.y(v), "axis"})
		p.Words = append(p.Words, word{f.left - 7, f.y(v) + 4, "end", axisText(v)})
	}
}

func axisText(ms float64) string {
	if ms < 1000 && ms > 0 {
		return fmt.Sprintf("%.1f s", ms/1000)
	}
	return fmt.Sprintf("%.0f s", ms/1000)
}

// nice is a round distance of marks not below v milliseconds: 1, 2 or 5 times a power of ten.
func nice(v float64) float64 {
	if !(v > 0) {
		return 1000
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if v <= m*p {
			return m * p
		}
	}
	return 10 * p
}

// curvePlot is run times by run number, the fitted curve and the standard; nil with fewer than two runs.
func curvePlot(c report.Curve, t report.Times) *plot {
	if len(c.Points) < 2 {
		return nil
	}
	first, last := c.Points[0].N, c.Points[len(c.Points)-1].N
	hi := t.Standard
	for _, pt := range c.Points {
		hi = max(hi, pt.Time)
	}
	p := &plot{W: 760, H: 260, Title: "Learning curve. " + c.Says}
	f := frame{60, 12, 600, 208, float64(first), float64(last), 0, max(hi, 1) * 1.05}
	p.axis(f)
	if t.HasStandard {
		p.across(f, t.Standard, "standard", "standard")
	}
	if c.OK {
		const parts = 60
		points := ""
		for i := range parts + 1 {
			n := f.from + (f.to-f.from)*float64(i)/parts
			points += fmt.Sprintf("%g,%g ", f.x(n), f.y(min(c.First*math.Pow(n, c.B), f.hi)))
		}
		p.Paths = append(p.Paths, path{points, "curve"})
	}
	for _, pt := range c.Points {
		p.Marks = append(p.Marks, mark{f.x(float64(pt.N)), f.y(pt.Time), "dot", fmt.Sprintf("run %d: %s", pt.N, report.Seconds(pt.Time))})
	}
	p.Words = append(p.Words, word{f.left, 240, "start", fmt.Sprintf("run %d", first)}, word{f.left + f.w, 240, "end", fmt.Sprintf("run %d", last)},
		word{f.left + f.w/2, 254, "middle", "dots: single runs; line: the curve; dashes: the standard"})
	return p
}

// spread is all steps on one axis: a tick a time, a tall bar the median, a ring the standard.
func spread(ts []report.Times) *plot {
	hi, rows := 0.0, 0
	for _, t := range ts {
		if t.N > 0 {
			hi = max(hi, t.P90, t.Standard)
			rows++
		}
	}
	if rows == 0 {
		return nil
	}
	const high = 24
	p := &plot{W: 760, H: float64(rows*high + 46), Title: "How the times of each step lie."}
	f := frame{90, 6, 600, float64(rows * high), 0, max(hi, 1) * 1.15, 0, 1}
	row := 0
	for _, t := range ts {
		if t.N == 0 {
			continue
		}
		y := f.top + float64(row*high) + high/2
		row++
		p.Words = append(p.Words, word{f.left - 8, y + 4, "end", t.Step})
		p.Lines = append(p.Lines, line{f.left, y, f.left + f.w, y, "rule"})
		over := 0
		for _, v := range t.All {
			if v > f.to {
				over++
				continue
			}
			p.Lines = append(p.Lines, line{f.x(v), y - 5, f.x(v), y + 5, "tick"})
		}
		p.Lines = append(p.Lines, line{f.x(min(t.Median, f.to)), y - 10, f.x(min(t.Median, f.to)), y + 10, "median"})
		if t.HasStandard {
			p.Marks = append(p.Marks, mark{f.x(min(t.Standard, f.to)), y, "ring", "standard " + report.Seconds(t.Standard)})
		}
		if over > 0 {
			p.Words = append(p.Words, word{f.left + f.w + 4, y + 4, "start", fmt.Sprintf("+%d beyond", over)})
		}
	}
	end := f.top + f.h
	p.Lines = append(p.Lines, line{f.left, end, f.left + f.w, end, "axis"})
	step := nice(f.to / 6)
	for v := 0.0; v <= f.to; v += step {
		p.Lines = append(p.Lines, line{f.x(v), end, f.x(v), end + 4, "axis"})
		p.Words = append(p.Words, word{f.x(v), end + 17, "middle", axisText(v)})
	}
	p.Words = append(p.Words, word{f.left + f.w/2, end + 34, "middle", "ticks: single times; tall bar: median; ring: standard"})
	return p
}

// chartPlot is one control chart; nil without points.
func chartPlot(c report.Chart) *plot {
	if len(c.Points) == 0 {
		return nil
	}
	lo, hi := 0.0, 0.0
	for _, pt := range c.Points {
		hi = max(hi, pt.Time)
	}
	if c.OK {
		hi = max(hi, c.Upper)
	}
	p := &plot{W: 760, H: 210, Title: "Control chart of " + c.Step + "."}
	f := frame{60, 12, 600, 160, 0, float64(len(c.Points) - 1), lo, max(hi, 1) * 1.05}
	p.axis(f)
	if c.OK {
		p.across(f, c.Upper, "limit", "limit")
		p.across(f, c.Center, "mean", "mean")
		if c.Floor() > 0 {
			p.across(f, c.Floor(), "limit", "limit")
		}
	}
	points := ""
	for i, pt := range c.Points {
		x := f.x(float64(i))
		tip := fmt.Sprintf("%s pass %d, %s: %s", pt.Roll, pt.Pass, pt.Began.Format(time.DateOnly), report.Seconds(pt.Time))
		switch {
		case pt.Missing:
			if points != "" {
				p.Paths = append(p.Paths, path{points, "thin"})
			}
			points = ""
			p.Marks = append(p.Marks, mark{x, f.y(0) - 6, "slash", pt.Roll + ": broken off"})
			continue
		case pt.Signal:
			p.Marks = append(p.Marks, mark{x, f.y(pt.Time), "cross", tip})
		default:
			p.Marks = append(p.Marks, mark{x, f.y(pt.Time), "dot", tip})
		}
		points += fmt.Sprintf("%g,%g ", x, f.y(pt.Time))
	}
	p.Paths = append(p.Paths, path{points, "thin"})
	p.Words = append(p.Words, word{f.left, 188, "start", c.Points[0].Began.Format(time.DateOnly)},
		word{f.left + f.w, 188, "end", c.Points[len(c.Points)-1].Began.Format(time.DateOnly)},
		word{f.left + f.w/2, 203, "middle", "dot: one run; cross: look here; slash: broken off"})
	return p
}
