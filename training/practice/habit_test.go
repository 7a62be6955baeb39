package practice

import (
	"slices"
	"testing"
	"testing/synctest"

	"twobin/training/drill"
)

// habits are the bad habits, with the incidents that show them. A drill whose criteria count the desk shows letting
// cards lie by itself.
var habits = []struct {
	name  string
	h     Habits
	shown []drill.Kind
	desk  bool
}{
	{"answers the phone", Habits{AnswersPhone: true}, []drill.Kind{drill.CallStart, drill.CallDesk, drill.CallErase}, false},
	{"skips looking", Habits{SkipsLook: true}, []drill.Kind{drill.NoFolder}, false},
	{"erases early", Habits{ErasesEarly: true}, []drill.Kind{drill.Wanted, drill.WrongErase, drill.NewTake, drill.CallErase}, false},
	{"last in, first out", Habits{LastFirst: true}, []drill.Kind{drill.Together}, false},
	{"guesses labels", Habits{GuessesLabels: true}, []drill.Kind{drill.LabelDiffers, drill.WrongSeat}, false},
	{"lets cards lie", Habits{LetsLie: true}, []drill.Kind{drill.Together, drill.CallDesk}, true},
}

// A trainee with one bad habit fails every run of a drill in which that habit shows, and passes the others.
func TestHabits(t *testing.T) {
	t.Parallel()
	for _, h := range habits {
		t.Run(h.name, func(t *testing.T) {
			t.Parallel()
			failed := 0
			for _, d := range drill.Drills() {
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
						}
					})
				}
			}
			if failed == 0 && !testing.Short() {
				t.Error("no drill of this test teaches it")
			}
		})
	}
}
