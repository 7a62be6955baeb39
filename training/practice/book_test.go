package practice

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/training/drill"
)

// What a trainee has done is in the journals and nowhere else: passed, not passed, quit, watched, and what comes next.
func TestBook(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		o := setup(t, drill.FirstRoll, 1)
		o.Coach = Full
		next := func(drillName string, coach Coach) {
			t.Helper()
			b, err := ReadBook(o.Home, o.Trainee)
			if err != nil {
				t.Fatal(err)
			}
			if d, c := b.Next(); d.Name != drillName || c != coach {
				t.Errorf("next is %s with coach %s, want %s, %s", d.Name, c, drillName, coach)
			}
		}
		next(drill.FirstRoll, Full)

		watched := o
		watched.Coach = Shown
		play(t, watched, Habits{})
		next(drill.FirstRoll, Full)

		s, err := Start(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Do(t.Context(), procedure.DoQuit{}); err != nil {
			t.Fatal(err)
		}
		if r, err := s.End(); err != nil || r.Outcome != drill.Quit {
			t.Errorf("quit drill: %s, %v", r.Outcome, err)
		}
		next(drill.FirstRoll, Full)

		if r, _ := play(t, o, Habits{}); r.Outcome != drill.Passed {
			t.Error(tell(r))
		}
		b, err := ReadBook(o.Home, o.Trainee)
		if err != nil {
			t.Fatal(err)
		}
		want := Standing{Shown: 1, Done: 2, Passed: 1, Last: "passed", BestCoach: Full}
		got := b.Of(drill.FirstRoll)
		got.When = want.When
		if got != want {
			t.Errorf("standing %+v, want %+v", got, want)
		}
		next(drill.FirstRoll, Brief)
		if len(b.Earlier("").Steps[procedure.StepPick]) == 0 {
			t.Error("no earlier times")
		}
		if other, err := ReadBook(o.Home, "Robin"); err != nil || len(other) != 0 {
			t.Errorf("another trainee has %d runs, %v", len(other), err)
		}
	})
}

// The drill's journal has the format of a shift's, is whole, says DRILL, and holds the result; nothing of the drill
// stands where shifts look; the sandbox is gone.
func TestJournalOfADrill(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		o := setup(t, "erase", 5)
		r, s := play(t, o, Habits{})
		rep, err := journal.Verify(s.Path())
		if err != nil || !rep.Whole {
			t.Errorf("journal: %v, %v", rep, err)
		}
		lines, _, err := journal.ReadFile(s.Path())
		if err != nil {
			t.Fatal(err)
		}
		shift, es, err := procedure.Fold(lines)
		if err != nil {
			t.Fatal(err)
		}
		if shift.Opened.Drill != "erase" || shift.Opened.Seed != 5 {
			t.Errorf("opened as %+v", shift.Opened)
		}
		d, _ := drill.Find("erase")
		if again := drill.Score(d, drill.NewPlan(d, 5), es); again.Outcome != r.Outcome || len(again.Findings) != len(r.Findings) {
			t.Errorf("scored again it is %s, was %s", again.Outcome, r.Outcome)
		}
		last := es[len(es)-1].Event
		if sc, ok := last.(procedure.IncidentScored); !ok || sc.Kind != drill.DrillKind || sc.Result != r.Outcome.String() {
			t.Errorf("the journal ends with %+v", last)
		}
		for _, dir := range []string{"journals", "proofs"} {
			if _, err := os.Stat(filepath.Join(o.Home, dir)); !os.IsNotExist(err) {
				t.Errorf("a drill has made %s among the shift's", dir)
			}
		}
		if left, err := os.ReadDir(o.Below); err != nil || len(left) != 0 {
			t.Errorf("left behind: %v, %v", left, err)
		}
	})
}

// The debrief says what counted, with moment, reason, and what to do, and every line says DRILL.
func TestDebrief(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var r drill.Result
		d, _ := drill.Find("look")
		for seed := int64(1); len(r.Findings) == 0; seed++ {
			if len(drill.NewPlan(d, seed).Incidents) > 0 {
				r, _ = play(t, setup(t, "look", seed), Habits{SkipsLook: true})
			}
		}
		earlier := drill.Spans{
			Steps: map[procedure.Step]drill.Times{procedure.StepPick: {7 * time.Second}}, Critical: drill.Times{8 * time.Second}, Desk: drill.Times{9 * time.Second},
		}
		var b strings.Builder
		if err := drill.Debrief(&b, d, r, earlier); err != nil {
			t.Fatal(err)
		}
		for _, l := range strings.Split(strings.TrimSpace(b.String()), "\n") {
			if l != "DRILL" && !strings.HasPrefix(l, "DRILL ") {
				t.Errorf("line without its word: %q", l)
			}
			if len(l) > 80 {
				t.Errorf("%d columns: %q", len(l), l)
			}
		}
		for name, want := range map[string]string{"pick": "7.0 s", "critical steps": "8.0 s", "on the desk": "9.0 s"} {
			if !regexp.MustCompile(`(?m)^DRILL   ` + name + ` .* ` + regexp.QuoteMeta(want) + ` +\S+( s)?$`).MatchString(b.String()) {
				t.Errorf("of %s it does not say %s before:\n%s", name, want, b.String())
			}
		}
		for _, want := range []string{"not passed", "lacking: the folder is not there: wrong", "right is: hold", "why: ", "do: ", "passed by:", "yours before", "standard", "on the desk", "critical steps", "what went right", "what did not go right"} {
			if !strings.Contains(b.String(), want) {
				t.Errorf("debrief lacks %q:\n%s", want, b.String())
			}
		}
	})
}

// People whose names share a folder share nothing else: neither what they have passed nor their times nor a drill that
// waits.
func TestBookOfOnePerson(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		o := setup(t, drill.FirstRoll, 1)
		o.Coach, o.Trainee = Full, "Jörg"
		if Folder(o.Home, "Jörg") != Folder(o.Home, "Jürg") {
			t.Fatal("the names have two folders: this test shows nothing")
		}
		if r, _ := play(t, o, Habits{}); r.Outcome != drill.Passed {
			t.Error(tell(r))
		}
		for name, want := range map[string]int{"Jörg": 1, " jÖRG ": 1, "Jürg": 0, "Жорж": 0} {
			b, err := ReadBook(o.Home, name)
			if err != nil {
				t.Fatal(err)
			}
			if len(b) != want || b.Of(drill.FirstRoll).Passed != want || (len(b.Earlier("").Steps) > 0) != (want > 0) {
				t.Errorf("%s has %d runs, want %d", name, len(b), want)
			}
		}
		if !sameName("J\ufffdrg", "J\xf6rg") || !sameName("\ufffd\ufffd", "\xc4\xd6") || sameName("J\ufffdrg", "J\xf6rn") {
			t.Error("a name in another encoding is not known again, or another one is")
		}
	})
}
