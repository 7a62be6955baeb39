package practice

import (
	"slices"
	"testing"
	"testing/synctest"

	"twobin/training/drill"
)

type habit struct {
	name  string
	h     Habits
	shown []drill.Kind
	desk  bool
}

// habits are the bad habits, with the incidents that show them. A drill whose criteria count the desk shows letting
// cards lie by itself.
var habits = []habit{
	{"answers the phone", Habits{AnswersPhone: true}, []drill.Kind{drill.CallStart, drill.CallDesk, drill.CallErase}, false},
	{"skips looking", Habits{SkipsLook: true}, []drill.Kind{drill.NoFolder}, false},
	{"erases early", Habits{ErasesEarly: true}, []drill.Kind{drill.Wanted, drill.WrongErase, drill.NewTake, drill.CallErase}, false},
	{"last in, first out", Habits{LastFirst: true}, []drill.Kind{drill.Together}, false},
	{"guesses labels", Habits{GuessesLabels: true}, []drill.Kind{drill.LabelDiffers, drill.WrongSeat}, false},
	{"lets cards lie", Habits{LetsLie: true}, []drill.Kind{drill.Together, drill.CallDesk}, true},
	{"retries at once", Habits{RetriesAtOnce: true}, inCopies, false},
	{"takes anything", Habits{TakesAnything: true}, []drill.Kind{drill.Lacks}, false},
	{"makes up answers", Habits{MakesUpAnswers: true}, []drill.Kind{drill.Skip, drill.Reused}, false},
	{"keeps quiet", Habits{KeepsQuiet: true}, []drill.Kind{drill.Unformatted}, false},
	{"gives up", Habits{GivesUp: true}, append([]drill.Kind{drill.PowerCut}, inCopies...), false},
}

// inCopies are the incidents that make a copy fail.
var inCopies = []drill.Kind{drill.Unreadable, drill.BadCopy, drill.DriveFull, drill.DriveReadOnly, drill.DriveGone}

// Every kind of incident is played wrong by some habit.
func TestHabitsShowEverything(t *testing.T) {
	t.Parallel()
	for _, k := range drill.Kinds() {
		if !slices.ContainsFunc(habits, func(h habit) bool { return slices.Contains(h.shown, k) }) {
			t.Errorf("nobody plays %s wrong", k)
		}
	}
}

// A trainee with one bad habit fails every run of a drill in which that habit shows, and passes the others.
func TestHabits(t *testing.T) {
	t.Parallel()
	for _, h := range habits {
		t.Run(h.name, func(t *testing.T) {
			t.Parallel()
			failed := 0
			found, met := map[drill.Kind]bool{}, map[drill.Kind]bool{}
			for _, d := range drill.Drills() {
				if testing.Short() && d.Name == drill.LongDay { // as long as all others together
					continue
				}
				for seed := int64(1); seed <= seeds(d, 12); seed++ {
					synctest.Test(t, func(t *testing.T) {
						r, s := play(t, setup(t, d.Name, seed), h.h)
						shows := h.desk && !d.AnyDesk || slices.ContainsFunc(h.shown, s.Plan().Has)
						switch {
						case shows && r.Outcome != drill.NotPassed:
							t.Errorf("the habit was not found\n%s", tell(r))
						case !shows && r.Outcome != drill.Passed:
							t.Errorf("failed a drill that does not teach it\n%s", tell(r))
						case shows:
							failed++
							for _, f := range r.Findings {
								found[f.Kind] = found[f.Kind] || slices.Contains(h.shown, f.Kind) && f.Verdict > drill.Right
							}
						}
						for _, i := range s.Plan().Incidents {
							met[i.Kind] = true
						}
					})
				}
			}
			if failed == 0 && !testing.Short() {
				t.Error("no drill of this test teaches it")
			}
			for _, k := range h.shown {
				if met[k] && !found[k] && !testing.Short() { // one seed says nothing of every kind
					t.Errorf("%s was met, and always handled right", k)
				}
			}
		})
	}
}
