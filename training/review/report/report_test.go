package report

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/review/read"
)

func TestNothing(t *testing.T) {
	t.Parallel()
	r := mustMake(t, Options{})
	sane(t, r)
	if len(r.People) != 0 || r.Scope.Drills != 0 {
		t.Errorf("report of nothing: %+v", r)
	}
	if _, err := Make(read.Set{}, Options{Trainees: []string{"Ada"}}); err == nil || err.Error() != `no journal has the name "Ada": there are no journals` {
		t.Errorf("a name that nobody has: %v", err)
	}
	_, err := Make(read.Set{Sessions: []read.Session{session("Ada", 0, procedure.StepPick, 5), session("Bela", 0, procedure.StepPick, 5)}}, Options{References: []string{"Cy"}})
	if err == nil || err.Error() != `no journal has the name "Cy"; there are: Ada, Bela` {
		t.Errorf("a reference that nobody is: %v", err)
	}
}

// TestOneRun: one run gives times, and words instead of everything that needs more.
func TestOneRun(t *testing.T) {
	t.Parallel()
	r := mustMake(t, Options{}, session("Ada", 0, procedure.StepLook, 25_000))
	sane(t, r)
	p := r.People[0]
	x := stepOf(t, p, procedure.StepLook)
	if x.N != 1 || x.Median != 25_000 || x.P90 != 25_000 || !x.P90IsMax || x.MAD != 0 || x.Best != 25_000 || x.HasStandard {
		t.Errorf("row %+v", x)
	}
	if p.Curve.OK || p.Curve.Says != "No rate: too few runs (1 completed, 5 needed)." {
		t.Errorf("curve says %q", p.Curve.Says)
	}
	if len(p.Outliers) != 0 || p.Total.Median != 25_008 {
		t.Errorf("outliers %v, total %v", p.Outliers, p.Total.Median)
	}
	if x := stepOf(t, p, procedure.StepErase); x.N != 0 {
		t.Errorf("erase has a time: %+v", x)
	}
	if got := p.Summary()[2]; got != "Costs time: look is the longest step, 25.0 s in the middle." {
		t.Errorf("summary %q", got)
	}
}

// TestAllEqual: equal times are no reason for limits, outliers or differences.
func TestAllEqual(t *testing.T) {
	t.Parallel()
	times := make([]int64, 24)
	for i := range times {
		times[i] = 7000
	}
	sides, _ := ParseSides("Ada,Bela")
	r := mustMake(t, Options{Compare: sides, References: []string{"Bela"}}, session("Ada", 0, procedure.StepLook, times...), session("Bela", 0, procedure.StepLook, times...))
	sane(t, r)
	p := r.People[0]
	if p.Curve.FitWord != "flat" || p.Curve.Says != "Every run took the same time: nothing is getting better or worse." {
		t.Errorf("curve %+v", p.Curve.Says)
	}
	if c := p.Charts[procedure.StepLook-1]; c.OK || c.Says[0] != "no limits: all times are equal" || len(c.Points) != 20 {
		t.Errorf("chart %+v", c)
	}
	if len(p.Outliers) != 0 {
		t.Errorf("outliers %v", p.Outliers)
	}
	for _, x := range r.Comparison.Rows {
		if x.Differs || x.OK || !strings.HasSuffix(x.Says, "nothing can be said") && x.Says != "no times to compare" {
			t.Errorf("row %s: %q", x.Step, x.Says)
		}
	}
	if d, ok := stepOf(t, p, procedure.StepLook).Over(); !ok || d != 0 {
		t.Errorf("over the standard by %v, %v", d, ok)
	}
}

// TestTooFewToCompare: three against three can never show a difference, and that is not the same as none.
func TestTooFewToCompare(t *testing.T) {
	t.Parallel()
	sides, _ := ParseSides("Bela,Ada")
	r := mustMake(t, Options{Compare: sides}, session("Ada", 0, procedure.StepLook, 1000, 1100, 1200), session("Bela", 0, procedure.StepLook, 9000, 9100, 9200))
	for _, x := range r.Comparison.Rows {
		if x.Step == "look" && x.Says != "too few runs: nothing can be said" {
			t.Errorf("says %q", x.Says)
		}
	}
}

// TestDifference: who is quicker, by how much: every time of the one is 2 s below every one of the other.
func TestDifference(t *testing.T) {
	t.Parallel()
	var a, b []int64
	for i := range int64(9) {
		a = append(a, 5000+10*i)
		b = append(b, 7000+10*i)
	}
	sides, _ := ParseSides("ada, BELA")
	r := mustMake(t, Options{Compare: sides, Steps: []procedure.Step{procedure.StepLook}}, session("Ada", 0, procedure.StepLook, a...), session("Bela", 0, procedure.StepLook, b...))
	c := r.Comparison
	if c.A != "Ada" || c.B != "Bela" || c.Basis != "runs 1 to 9 of either, so that both had as much practice" || len(c.Rows) != 2 {
		t.Fatalf("comparison %+v", c)
	}
	// Two-sided exact p of complete separation, 9 against 9: 2 of 48,620 splits; two rows.
	near(t, "Holm", c.Rows[1].Holm, 2*2.0/48_620, 1e-9)
	if x := c.Rows[1]; !x.Differs || x.Says != "Ada is quicker by 2.0 s" || x.AOverB != 0 {
		t.Errorf("row %+v", x)
	}
}

// TestSameRunNumbers: of twenty runs of one and ten of the other, runs 6 to 10 of either are compared.
func TestSameRunNumbers(t *testing.T) {
	t.Parallel()
	a, b := make([]int64, 20), make([]int64, 10)
	for i := range a {
		a[i] = int64(1000 * (i + 1))
	}
	for i := range b {
		b[i] = int64(1000 * (i + 1))
	}
	sides, _ := ParseSides("Ada,Bela")
	r := mustMake(t, Options{Compare: sides, Steps: []procedure.Step{procedure.StepLook}}, session("Ada", 0, procedure.StepLook, a...), session("Bela", 0, procedure.StepLook, b...))
	if x := r.Comparison.Rows[1]; x.NA != 5 || x.NB != 5 || x.MedianA != 8000 || x.MedianB != 8000 || x.Differs {
		t.Errorf("row %+v", x)
	}
}

func TestWindow(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ a, b, lo, hi int }{{0, 9, 1, 0}, {4, 9, 1, 4}, {10, 12, 6, 10}, {40, 30, 11, 30}} {
		if lo, hi := window(c.a, c.b); lo != c.lo || hi != c.hi {
			t.Errorf("window(%d, %d) = %d, %d, want %d, %d", c.a, c.b, lo, hi, c.lo, c.hi)
		}
	}
}

func TestParseSides(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "Ada", "Ada,", ",Ada", "Ada,Bela,Cy", "Ada,2031-05-05..2031-05-06", "2031-05-06..2031-05-05,2031-05-05..2031-05-06", "2031-05..2031-06,a..b"} {
		if s, err := ParseSides(bad); err == nil {
			t.Errorf("ParseSides(%q) = %v", bad, s)
		}
	}
}

// TestScope: mode, day and name choose; runs keep the numbers that they have with all journals.
func TestScope(t *testing.T) {
	t.Parallel()
	old, late, other := session("Ada", 0, procedure.StepLook, 9000, 8000), session("Ada", 9, procedure.StepLook, 7000), session("Bela", 9, procedure.StepLook, 1)
	late.Drill = "look"
	shown := session("Ada", 10, procedure.StepLook, 1)
	shown.Drill, shown.Coach = "look", "show"
	all := []read.Session{old, late, other, shown}
	r := mustMake(t, Options{Since: day0.AddDate(0, 0, 9), Trainees: []string{"ADA"}}, all...)
	if len(r.People) != 1 || r.People[0].Runs != 1 || r.People[0].AllRuns[0].Number != 3 || r.Scope.Drills != 1 || r.Scope.Shifts != 0 || r.Scope.Watched != 1 {
		t.Errorf("since: %+v", r.Scope)
	}
	if r = mustMake(t, Options{Mode: Shifts}, all...); r.Scope.Drills != 0 || r.Scope.Shifts != 2 || r.People[0].Runs != 2 {
		t.Errorf("shifts: %+v", r.Scope)
	}
	if r = mustMake(t, Options{Mode: Drills}, all...); r.Scope.Drills != 1 || r.Scope.Shifts != 0 || r.People[0].AllRuns[0].Number != 1 {
		t.Errorf("drills: %+v", r.Scope)
	}
	if r = mustMake(t, Options{Steps: []procedure.Step{procedure.StepLook}}, all...); len(r.People[0].Steps) != 1 || len(r.People[0].Charts) != 1 {
		t.Errorf("steps: %d", len(r.People[0].Steps))
	}
}

func TestLimits(t *testing.T) {
	t.Parallel()
	s := session("Ada", 0, procedure.StepLook, 1, 1, 1)
	s.Runs[0].SeatToStart, s.Runs[1].SeatToStart, s.Runs[2].SeatToStart = 30_000, 30_001, 10_000 // on the limit is not over it
	s.Runs[0].Desk = 200_000
	l := mustMake(t, Options{}, s).People[0].Limits
	if l[0].N != 3 || l[0].Over != 1 || l[0].Max != 30_001 || l[0].Median != 30_000 || l[1].N != 1 || l[1].Over != 1 || l[2].N != 0 {
		t.Errorf("limits %+v", l)
	}
}

func TestErrorsAndOutlierStories(t *testing.T) {
	t.Parallel()
	s := session("Ada", 0, procedure.StepLook, 1000, 1010, 990, 1020, 980, 1000, 60_000)
	s.Runs[6].Marks = []read.Mark{{Kind: read.Misseen, Step: procedure.StepLook, Text: "RAID", Who: "Ada"}, {Kind: read.Order, Step: procedure.StepPull, Who: "Ada"}}
	s.Runs[0].Marks = []read.Mark{{Kind: read.PutBack, Step: procedure.StepSeat, Who: "Bela"}} // in her run, but by somebody else
	s.Loose = []read.Mark{{Kind: read.Miscount, Who: "ada"}}
	p := mustMake(t, Options{}, s).People[0]
	got := map[string]int{}
	for _, k := range append(p.Errors, p.Notes...) {
		if k.N > 0 {
			got[k.Kind] = k.N
		}
	}
	if diff := cmp.Diff(map[string]int{"wrong look": 1, "out of order": 1, "wrong count": 1}, got); diff != "" {
		t.Error(diff)
	}
	near(t, "in ten runs", p.Errors[0].PerTen, 10.0/7, 1e-9)
	if len(p.Outliers) != 1 || p.Outliers[0].Usual != 1000 {
		t.Fatalf("outliers %+v", p.Outliers)
	}
	if diff := cmp.Diff([]string{"wrong look at look: RAID"}, p.Outliers[0].What); diff != "" {
		t.Error(diff)
	}
}

// judged is a drill with incidents and their results.
func judged(day int, name, outcome string, results ...string) read.Session {
	s := session("Ada", day, procedure.StepLook, 5000)
	s.Drill, s.Outcome = name, outcome
	for i := 0; i+1 < len(results); i += 2 {
		s.Incidents = append(s.Incidents, read.Incident{Kind: results[i], Result: results[i+1], Who: "Ada", At: s.Began})
	}
	return s
}

func TestMatrix(t *testing.T) {
	t.Parallel()
	r := mustMake(t, Options{}, judged(0, "phone", "not passed", "call-start", "wrong", "call-desk", "late"), judged(1, "phone", "passed", "call-start", "right", "call-start", ""),
		session("Bela", 0, procedure.StepLook, 1))
	for _, k := range r.Incidents {
		want := []Cell{{}, {}}
		switch k.Kind {
		case "call-start":
			want[0] = Cell{Right: 1, Wrong: 1, Open: 1}
		case "call-desk":
			want[0] = Cell{Late: 1}
		}
		if diff := cmp.Diff(want, k.Cells); diff != "" {
			t.Errorf("%s: %s", k.Kind, diff)
		}
	}
	if len(r.Incidents) != len(drill.Kinds()) {
		t.Errorf("%d kinds, want %d", len(r.Incidents), len(drill.Kinds()))
	}
}

// TestNext: what went wrong last comes first, then what was not passed, then the new; what is of a later stage only when
// nothing else is left, and with the condition.
func TestNext(t *testing.T) {
	t.Parallel()
	r := mustMake(t, Options{}, judged(0, "first-roll", "passed"), judged(1, "look", "passed", "folder-missing", "right"),
		judged(2, "labels", "not passed", "label-differs", "wrong"), judged(3, "drives", "not passed", "drive-full", "missed"))
	want := []Proposal{
		{"labels", "what is written on tape and card", "tape and card do not agree: wrong on 2031-05-07; not passed on 2031-05-07; not yet met: a label that was used before"},
		{"red-bin", "cards that arrive", "never done"},
		{"first-roll", "one roll from the red bin back to the camera", "passed; done longest ago (2031-05-05)"},
	}
	if diff := cmp.Diff(want, r.People[0].Next); diff != "" {
		t.Error(diff)
	}
	want = []Proposal{
		{"first-roll", "one roll from the red bin back to the camera", "never done"},
		{"red-bin", "cards that arrive", "new; when every drill before stage 2 is passed"},
		{"labels", "what is written on tape and card", "new; when every drill before stage 2 is passed"},
	}
	if diff := cmp.Diff(want, mustMake(t, Options{}, session("Ada", 0, procedure.StepLook, 1)).People[0].Next); diff != "" {
		t.Error(diff)
	}
}

// TestNextWeighs: wrong weighs more than not passed, that more than late, that more than new.
func TestNextWeighs(t *testing.T) {
	t.Parallel()
	ss := []read.Session{judged(0, "first-roll", "passed"), judged(1, "red-bin", "passed", "together", "late", "number-skipped", "right", "lacks", "right"),
		judged(2, "labels", "not passed", "label-differs", "right", "label-reused", "right"), judged(3, "look", "passed", "folder-missing", "missed")}
	var got []string
	for _, p := range mustMake(t, Options{}, ss...).People[0].Next {
		got = append(got, p.Line())
	}
	want := []string{
		"look (open the drive and look): the folder is not there: missed on 2031-05-08",
		"labels (what is written on tape and card): not passed on 2031-05-07",
		"red-bin (cards that arrive): two rolls in one hand: late on 2031-05-06",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestReady: every drill passed, the last incidents right, times near the standard.
func TestReady(t *testing.T) {
	t.Parallel()
	var ss []read.Session
	for i, d := range drill.Drills() {
		if d.Name != drill.LongDay {
			ss = append(ss, judged(i, d.Name, "passed", "lacks", "right"))
		}
	}
	ref := session("Morgan", 0, procedure.StepLook, 4500)
	o := Options{References: []string{"Morgan"}, Trainees: []string{"Ada"}}
	if p := mustMake(t, o, append(ss, ref)...).People[0]; !p.Ready.Ready {
		t.Errorf("not ready: %+v", p.Ready)
	}
	ref.Runs[0].Hands[procedure.StepLook] = 3900 // the standard is 3.908 s; 1.25 times that is under 5.008 s
	if p := mustMake(t, o, append(ss, ref)...).People[0]; p.Ready.Ready || len(p.Ready.Lacks) > 0 || p.Ready.Time[0] != "the last 5 runs took 5.0 s in the middle; the standard is 3.9 s" {
		t.Errorf("slow: %+v", p.Ready)
	}
	ref.Runs[0].Hands[procedure.StepLook] = 4500
	bad := append(append([]read.Session{}, ss...), ref, judged(30, "phone", "not passed", "call-desk", "missed"))
	bad[len(bad)-1].Runs[0].Marks = []read.Mark{{Kind: read.Order, Who: "Ada"}}
	want := Ready{Lacks: []string{"wrong or missed: 1 of the last 10 incidents", "wrong or missed the last time: call-desk", "tried out of its order in the last 5 drills and shifts: 1"}}
	if diff := cmp.Diff(want, mustMake(t, o, bad...).People[0].Ready); diff != "" {
		t.Error(diff)
	}
}

// TestNoRanking: people stand by name, whatever their times, and nothing in the report numbers them.
func TestNoRanking(t *testing.T) {
	t.Parallel()
	r := mustMake(t, Options{}, session("Zoe", 0, procedure.StepLook, 1), session("ada", 0, procedure.StepLook, 90_000), session("Bela", 0, procedure.StepLook, 5))
	var names []string
	for _, p := range r.People {
		names = append(names, p.Name)
	}
	if diff := cmp.Diff([]string{"ada", "Bela", "Zoe"}, names); diff != "" {
		t.Error(diff)
	}
	for _, w := range []string{`"rank"`, `"place"`, "fastest", "slowest"} {
		if strings.Contains(sane(t, r), w) {
			t.Errorf("the report says %s", w)
		}
	}
}

func TestSeconds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ms   float64
		want string
	}{{0, "0.0 s"}, {40, "0.0 s"}, {99_949, "99.9 s"}, {99_950, "1:40"}, {3_599_600, "1:00:00"}} {
		if got := Seconds(c.ms); got != c.want {
			t.Errorf("Seconds(%v) = %q, want %q", c.ms, got, c.want)
		}
	}
}
