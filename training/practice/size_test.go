package practice

import (
	"io/fs"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/media"
	"twobin/training/drill"
)

// held is how many bytes lie below a folder now.
func held(dir string) int64 {
	var n int64
	_ = filepath.WalkDir(dir, func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return nil //nolint:nilerr // what goes away meanwhile takes no room
		}
		if st, err := e.Info(); err == nil {
			n += st.Size()
		}
		return nil
	})
	return n
}

// Drills can be passed at any size of card, incidents and all: nothing fills up unless the incident wants it, and what
// they take up on disk stays below what they said.
func TestSizes(t *testing.T) {
	t.Parallel()
	met := map[drill.Kind]bool{}
	for _, name := range []string{drill.FirstRoll, "old-clips", "bad-copy", "drives", "erase", "power-cut", "wrong-card"} {
		for _, size := range []int64{1000, 5e6} {
			all := int64(3)
			if testing.Short() {
				all = 1
			}
			for seed := int64(1); seed <= all; seed++ {
				synctest.Test(t, func(t *testing.T) {
					o := setup(t, name, seed)
					o.Size = size
					most, room := int64(0), o.NewPlan().Room()
					r, s := playHands(t, o, Habits{}, func(bool) { most = max(most, held(o.Below)) })
					if r.Outcome != drill.Passed {
						t.Errorf("size %d: %s", size, tell(r))
					}
					if full := s.Plan().Rolls[0].Size; most > room || most < 3*full {
						t.Errorf("%s seed %d, size %d: %d bytes on disk, room for %d was asked, the first roll has %d", name, seed, size, most, room, full)
					}
					for _, f := range r.Findings {
						met[f.Kind] = true
						if f.Verdict != drill.Right {
							t.Errorf("size %d: %s is %s\n%s", size, f.Kind, f.Verdict, tell(r))
						}
					}
				})
			}
		}
	}
	for _, k := range []drill.Kind{drill.DriveFull, drill.NewTake, drill.Unformatted, drill.PowerCut, drill.BadCopy} {
		if !met[k] && !testing.Short() {
			t.Errorf("%s did not happen in these seeds", k)
		}
	}
}

// A drill runs under a stricter policy as a shift does: more drives stand at the station and every one is looked at,
// the limits are the policy's, and a trainee who keeps to it passes. One that is gone on with keeps its policy.
func TestPolicy(t *testing.T) {
	t.Parallel()
	strict := guard.DefaultPolicy()
	strict.Destinations, strict.Recheck, strict.Hashes, strict.Reread = 3, guard.RecheckFull, []string{"md5"}, true
	strict.StartWithin, strict.DeskWithin, strict.EraseWithin = 20*time.Second, 100*time.Second, 40*time.Second
	for _, name := range []string{"erase", "drives", "power-cut"} {
		synctest.Test(t, func(t *testing.T) {
			o := setup(t, name, 2)
			o.Policy = strict
			o.Media = func(id guard.Identifier, proofs string) procedure.Media {
				return media.New(media.Options{Ident: id, Proofs: proofs, Policy: strict, Tool: "twobin", Version: "test", Host: "test"})
			}
			r, s := play(t, o, Habits{})
			if r.Outcome != drill.Passed {
				t.Errorf("%s", tell(r))
			}
			looked := map[string]int{}
			for _, e := range s.Entries() {
				switch ev := e.Event.(type) {
				case procedure.ShiftOpened:
					if p := ev.Policy; p.Destinations != 3 || p.StartMS != 20_000 || p.DeskMS != 100_000 || p.EraseMS != 40_000 {
						t.Errorf("%s was opened under %+v", name, p)
					}
				case procedure.DestLooked:
					looked[ev.Dest]++
				}
			}
			if len(looked) < 3 {
				t.Errorf("%s: looked at %v", name, looked)
			}
			run := Run{Entries: s.Entries()}
			if got := run.Policy(guard.DefaultPolicy()); got.Destinations != 3 || got.Recheck != guard.RecheckFull || got.StartWithin != strict.StartWithin || got.EraseWithin != strict.EraseWithin {
				t.Errorf("%s goes on under %+v", name, got)
			}
		})
	}
}

// Who takes longer than the policy's limit has to put back; the default would have let it pass.
func TestPolicyLimit(t *testing.T) {
	t.Parallel()
	for limit, want := range map[time.Duration]int{2 * time.Second: 1, 30 * time.Second: 0} {
		synctest.Test(t, func(t *testing.T) {
			o := setup(t, drill.FirstRoll, 1)
			o.Policy.StartWithin = limit
			r, _ := playFor(t, o, 30)
			if min(1, r.StartOver) != want {
				t.Errorf("limit %s: it was passed %d times, want %d", limit, r.StartOver, want)
			}
		})
	}
}

// playFor plays a number of turns and quits.
func playFor(t *testing.T, o Options, turns int) (drill.Result, *Session) {
	t.Helper()
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	p := NewPlayer(s, Habits{})
	for range turns {
		turn(t, s, p, func(bool) {})
	}
	r, err := s.End()
	if err != nil {
		t.Error(err)
	}
	return r, s
}
