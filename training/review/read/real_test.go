package read_test

import (
	"errors"
	"log/slog"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/media"
	"twobin/training/drill"
	"twobin/training/practice"
	"twobin/training/review/read"
	"twobin/training/world"
)

// played works a real drill with real media in folders of the test, by a player in software, on the bubble's clock.
func played(t *testing.T, name string, seed int64, h practice.Habits) (drill.Result, string) {
	t.Helper()
	d, ok := drill.Find(name)
	if !ok {
		t.Fatalf("no drill %s", name)
	}
	pol := guard.DefaultPolicy()
	o := practice.Options{
		Drill: d, Seed: seed, Trainee: "Kim", Coach: practice.Brief, Home: t.TempDir(), Below: t.TempDir(), Pace: world.Natural, Policy: pol, Tool: "test",
		Log: slog.New(slog.DiscardHandler), Media: func(id guard.Identifier, proofs string) procedure.Media {
			return media.New(media.Options{Ident: id, Proofs: proofs, Policy: pol, Tool: "twobin", Version: "test", Host: "test"})
		},
	}
	s, err := practice.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	p := practice.NewPlayer(s, h)
	slipped := false
	for end := time.Now().Add(10 * time.Hour); ; {
		synctest.Wait()
		v := s.View()
		if v.Ended {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("%s seed %d is stuck at %s", name, seed, v.Step.ID)
		}
		time.Sleep(3 * time.Second) // the bubble's: what the player needs to think
		synctest.Wait()
		if v := s.View(); v.Step.ID == "pick" && v.Prompt != nil && !slipped {
			slipped = true // something out of its order, once a drill
			if err := s.Do(t.Context(), procedure.Answer{ID: "bin.green", Text: "i"}); err == nil {
				t.Error("bin at pick was not refused")
			}
			continue
		}
		m := p.Next(s.View())
		if m.Intent == nil {
			time.Sleep(max(m.Wait, 200*time.Millisecond))
			continue
		}
		var no *procedure.Refusal
		if err := s.Do(t.Context(), m.Intent); err != nil && !errors.As(err, &no) {
			t.Errorf("%+v: %v", m.Intent, err)
		}
	}
	r, err := s.End()
	if err != nil {
		t.Fatal(err)
	}
	return r, s.Path()
}

// TestRealDrills: the review reads from real drills' journals what the drills' own score says of them: incidents, slips,
// limits, outcome, and, where nothing was broken off, every second.
func TestRealDrills(t *testing.T) {
	compared, incidents, slips := 0, 0, 0
	for _, c := range []struct {
		name  string
		seed  int64
		habit practice.Habits
	}{
		{"first-roll", 3, practice.Habits{}}, {"labels", 5, practice.Habits{}}, {"phone", 2, practice.Habits{}}, {"erase", 4, practice.Habits{}},
		{"red-bin", 6, practice.Habits{}}, {"phone", 7, practice.Habits{AnswersPhone: true}}, {"hurry", 9, practice.Habits{ErasesEarly: true}}, {"red-bin", 8, practice.Habits{LastFirst: true, LetsLie: true}},
	} {
		synctest.Test(t, func(t *testing.T) {
			want, path := played(t, c.name, c.seed, c.habit)
			set, err := read.Read(t.Context(), []string{path})
			if err != nil || len(set.Sessions) != 1 || len(set.Left) > 0 {
				t.Fatal(err, set.Left)
			}
			s := set.Sessions[0]
			if s.Drill != want.Drill || s.Operator != want.Trainee || s.Outcome != want.Outcome.String() {
				t.Errorf("%s: drill %s of %s: %s, want %s", path, s.Drill, s.Operator, s.Outcome, want.Outcome)
			}
			n, broken := map[read.Kind]int{}, false
			marks := slices.Clone(s.Loose)
			sum := map[procedure.Step]time.Duration{}
			for _, r := range s.Runs {
				marks = append(marks, r.Marks...)
				for st := procedure.StepReceive; int(st) < read.Steps; st++ {
					sum[st] += time.Duration(r.Hands[st]) * time.Millisecond
				}
			}
			for _, m := range marks {
				n[m.Kind]++
				broken = broken || m.Kind == read.PutBack || m.Kind == read.Hold || m.Kind == read.Ended
			}
			if n[read.Order] != len(want.Slips) {
				t.Errorf("%s: %d out of order, the score says %d", c.name, n[read.Order], len(want.Slips))
			}
			if n[read.Over] != want.DeskOver+want.StartOver {
				t.Errorf("%s: %d over a limit, the score says %d", c.name, n[read.Over], want.DeskOver+want.StartOver)
			}
			met := map[string]string{}
			for _, f := range want.Findings {
				if f.Verdict != drill.NotMet {
					met[f.ID] = f.Verdict.String()
				}
			}
			for _, in := range s.Incidents {
				if met[in.ID] != in.Result {
					t.Errorf("%s: incident %s %s: %q, the score says %q", c.name, in.ID, in.Kind, in.Result, met[in.ID])
				}
			}
			if len(s.Incidents) != len(met) {
				t.Errorf("%s: %d incidents, the score says %d", c.name, len(s.Incidents), len(met))
			}
			incidents, slips = incidents+len(met), slips+len(want.Slips)
			if broken {
				return
			}
			compared++
			for st, ts := range want.Steps {
				var total time.Duration
				for _, x := range ts {
					total += x
				}
				if sum[st] != total {
					t.Errorf("%s: %v at %s, the score says %v", c.name, sum[st], st, total)
				}
			}
		})
	}
	if compared < 3 || incidents < 4 || slips < 1 {
		t.Errorf("too little was compared: %d drills in full, %d incidents, %d slips", compared, incidents, slips)
	}
}
