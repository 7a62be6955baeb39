package practice

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"

	"twobin/training/drill"
)

// seeds is how many seeds a drill is played with: TWOBIN_SEEDS if it is set ("100", or "100,10" with another number for the
// long day); one with -short (the race detector's form,
// whatever else the environment says); full with TWOBIN_TEST_ALL=1, a quarter of it for the long day, which takes as
// long as twenty others; else few.
func seeds(d drill.Drill, full int64) int64 {
	all, long, two := strings.Cut(os.Getenv("TWOBIN_SEEDS"), ",")
	if two && d.Name == drill.LongDay {
		all = long
	}
	if n, err := strconv.ParseInt(all, 10, 64); err == nil {
		return n
	}
	switch {
	case testing.Short():
		return 1
	case os.Getenv("TWOBIN_TEST_ALL") == "1" && d.Name == drill.LongDay:
		return max(1, full/4)
	case os.Getenv("TWOBIN_TEST_ALL") == "1":
		return full
	case d.Name == drill.LongDay:
		return 1
	}
	return 3
}

// tell is a result in the words of a failed test.
func tell(r drill.Result) string {
	out := fmt.Sprintf("%s seed %d: %s, lacking %q", r.Drill, r.Seed, r.Outcome, r.Lacking)
	for _, f := range r.Findings {
		out += fmt.Sprintf("\n  %s %s %s: %s", f.Kind, f.Roll, f.Verdict, f.Why)
	}
	for n, s := range r.Slips {
		if n == 5 {
			break
		}
		out += fmt.Sprintf("\n  slip %s %s (due %s): %s", s.Roll, s.Asked, s.Due, s.Why)
	}
	return out
}

// A trainee who always does the right thing passes every drill with every seed, and every incident of the plan is met.
func TestAlwaysRightPasses(t *testing.T) {
	t.Parallel()
	for _, d := range drill.Drills() {
		t.Run(d.Name, func(t *testing.T) {
			t.Parallel()
			for seed := int64(1); seed <= seeds(d, 100); seed++ {
				synctest.Test(t, func(t *testing.T) {
					r, _ := play(t, setup(t, d.Name, seed), Habits{})
					if r.Outcome != drill.Passed {
						t.Errorf("%s", tell(r))
					}
					for _, f := range r.Findings {
						if f.Verdict != drill.Right {
							t.Errorf("%s is %s, want right\n%s", f.Kind, f.Verdict, tell(r))
						}
					}
				})
			}
		})
	}
}
