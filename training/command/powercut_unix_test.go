//go:build unix

package command

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/training/drill"
	"twobin/training/practice"
)

const powerCut = "power-cut"

// cutting is a plan of the power-cut drill in which the power really is cut, on the first roll.
func cutting(tb testing.TB) *drill.Plan {
	tb.Helper()
	d, ok := drill.Find(powerCut)
	if !ok {
		tb.Fatal("no such drill")
	}
	for seed := int64(1); seed < 100; seed++ {
		if p := drill.NewPlan(d, seed); p.Has(drill.PowerCut) && p.Incidents[0].Roll == p.Rolls[0].Label {
			return p
		}
	}
	tb.Fatal("the power is cut in none of them")
	return nil
}

// cutOff works the drill with the real program until the power cut ends it, and gives the command that it then names.
func cutOff(tb testing.TB, s *station, p *drill.Plan, more ...string) (line string, h *hands) {
	tb.Helper()
	h = &hands{}
	args := append([]string{"practice", powerCut, "--trainee", "Kim O'Hara", "--seed", strconv.FormatInt(p.Seed, 10), "--plain"}, more...)
	e := s.through(s.command(binary(tb), args...), h)
	if e.code != command.CodeFailed || e.err != "" {
		tb.Errorf("the power cut ends the program with code %d, %q on the error stream; want %d and nothing", e.code, e.err, command.CodeFailed)
	}
	lines := strings.Split(strings.TrimSpace(e.out), "\n")
	last := lines[len(lines)-1]
	said := lines[len(lines)-2]
	if !strings.Contains(said, "The power is gone") || !strings.Contains(said, "Start it again") {
		tb.Errorf("the last lines are %q, %q", said, last)
	}
	again, ok := strings.CutPrefix(last, "DRILL   twobin practice ")
	if !ok {
		tb.Fatalf("no command to start it again: %q\n%s", last, e.out)
	}
	for _, dir := range []string{h.sandbox, filepath.Join(h.sandbox, "drives", p.Drives[0].Name)} {
		if st, err := os.Stat(dir); err != nil || !st.IsDir() {
			tb.Errorf("the sandbox is not there any more: %v", err)
		}
	}
	return "twobin practice " + again, h
}

// runs are the drills in the trainee's book.
func (s *station) runs() practice.Book {
	s.tb.Helper()
	b, err := practice.ReadBook(s.home, "Kim O'Hara")
	if err != nil {
		s.tb.Fatal(err)
	}
	return b
}

// scored is how the power cut of a run was scored, and the label of the roll that was picked first after it.
func scored(r practice.Run) (verdict string, picked procedure.Label) {
	cut := false
	for _, e := range r.Entries {
		switch ev := e.Event.(type) {
		case procedure.Incident:
			cut = cut || ev.Kind == string(drill.PowerCut)
		case procedure.RollPicked:
			if cut && picked == "" {
				picked = e.Roll
			}
		case procedure.IncidentScored:
			if ev.Kind == string(drill.PowerCut) {
				verdict = ev.Result
			}
		}
	}
	return verdict, picked
}

// nothingLeft: no sandbox is left in the folder for temporary files.
func (s *station) nothingLeft() {
	s.tb.Helper()
	es, err := os.ReadDir(s.temp)
	if err != nil || len(es) > 0 {
		s.tb.Errorf("left in the folder for temporary files: %v, %v", es, err)
	}
}

// The program really ends in the midst of a copy, with exit code 1 and the command to start it again. That command goes
// on with the drill: the roll that was being copied is due at the pick, first in line; both rolls are finished, and the
// drill is passed.
func TestPowerCut(t *testing.T) {
	t.Parallel()
	s, p := newStation(t), cutting(t)
	again, h := cutOff(t, s, p)
	copied := p.Rolls[0].Label
	if got, _, _ := strings.Cut(h.asked[len(h.asked)-1], "."); got != "log" && got != "count" {
		t.Errorf("the last question before the cut was of %q, not of a copy", got)
	}
	runs := s.runs()
	if len(runs) != 1 || !runs[0].CutOff || runs[0].Drill != powerCut || runs[0].Outcome != "" {
		t.Fatalf("the book after the cut: %+v", runs)
	}
	var list strings.Builder
	if err := (&Practice{Common: command.Common{Home: s.home}, Trainee: "kim o'hara", List: true}).Run(&command.App{Out: &list, Env: os.Getenv}); err != nil {
		t.Error(err)
	}
	if want := "waits:    seed " + strconv.FormatInt(p.Seed, 10) + ", since its power cut\n"; !strings.Contains(list.String(), want) {
		t.Errorf("the list lacks %q:\n%s", want, list.String())
	}

	on := &hands{}
	e := s.through(s.shell(again), on)
	if e.code != 0 || e.err != "" {
		t.Errorf("gone on with, it ends with code %d, %q on the error stream", e.code, e.err)
	}
	if on.sandbox != h.sandbox {
		t.Errorf("it went on in %q, not in %q", on.sandbox, h.sandbox)
	}
	for _, want := range []string{"A drill waits since its power cut", "First in the red bin: " + string(copied), "DRILL result: PASSED.", "the sandbox is removed"} {
		if !strings.Contains(e.out, want) {
			t.Errorf("lacks %q:\n%s", want, e.out)
		}
	}
	if slices.Contains(on.asked, "setup.camera") {
		t.Error("the set-up was asked again")
	}
	if runs = s.runs(); len(runs) != 1 || runs[0].Outcome != drill.Passed.String() {
		t.Fatalf("the book at the end: %d runs, outcome %q", len(runs), runs[0].Outcome)
	}
	if v, picked := scored(runs[0]); v != drill.Right.String() || picked != copied {
		t.Errorf("the power cut is scored %q, %s was picked first; want right, %s", v, picked, copied)
	}
	shift := procedure.NewShift()
	for _, e := range runs[0].Entries {
		if err := shift.Apply(e); err != nil {
			t.Error(err)
		}
	}
	if !shift.Closed || len(shift.Order) != len(p.Rolls) {
		t.Errorf("closed %v, rolls %v of %d", shift.Closed, shift.Order, len(p.Rolls))
	}
	s.nothingLeft()
}

// Whoever does not take the roll up again has not passed, whether it stays in the red bin or on hold: exit code 1.
func TestPowerCutNotTakenUp(t *testing.T) {
	t.Parallel()
	held := false
	for name, instead := range map[string]func(id string) (string, bool){
		"closes the shift": func(id string) (string, bool) { return "c", id == "next" },
		"on hold": func(id string) (string, bool) {
			if held || id != "pick.card" {
				return "", false
			}
			held = true
			return "hold the power was gone", true
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, p := newStation(t), cutting(t)
			again, _ := cutOff(t, s, p)
			e := s.through(s.shell(again), &hands{instead: instead})
			runs := s.runs()
			if e.code != command.CodeFailed || e.err != "" || len(runs) != 1 {
				t.Fatalf("code %d, %q on the error stream, %d runs in the book\n%s", e.code, e.err, len(runs), e.out)
			}
			if v, _ := scored(runs[0]); v != drill.Missed.String() || runs[0].Outcome != drill.NotPassed.String() {
				t.Errorf("scored %q, outcome %q", v, runs[0].Outcome)
			}
			for _, want := range []string{"result: not passed yet", "lacking: the power fails: missed", "MISSED, "} {
				if !strings.Contains(e.out, want) {
					t.Errorf("lacks %q:\n%s", want, e.out)
				}
			}
			s.nothingLeft()
		})
	}
}
