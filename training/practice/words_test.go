package practice

import (
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"twobin/procedure"
	"twobin/training/drill"
)

// The words of an act where a question at the drives is answered open the drive; they are no wrong look. A spare drive is
// taken into use by its name.
func TestActsWhereAnswersAreTyped(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		tried := false
		_, s := playAsked(t, setup(t, "bad-copy", 1), func(s *Session, v procedure.View) {
			if tried || v.Prompt == nil || !strings.HasPrefix(v.Prompt.ID, "look.") {
				return
			}
			tried = true
			drive := strings.TrimPrefix(v.Prompt.ID, "look.")
			for _, text := range []string{"open " + drive, "do open " + drive} {
				if err := s.Do(t.Context(), procedure.Answer{ID: v.Prompt.ID, Seq: v.Prompt.Seq, Text: text}); err != nil {
					t.Errorf("%q: %v", text, err)
				}
			}
			synctest.Wait()
			if now := s.View(); now.Prompt == nil || now.Prompt.ID != v.Prompt.ID || !strings.Contains(strings.Join(now.World, " "), drive+", ") {
				t.Errorf("after %q: asked is %+v, around is %q", "open "+drive, now.Prompt, now.World)
			}
		})
		if !tried {
			t.Fatal("no look was asked for")
		}
		for _, e := range s.Entries() {
			if ev, ok := e.Event.(procedure.DestLooked); ok && !ev.Right {
				t.Errorf("counted as a wrong look: %+v", ev)
			}
		}
	})
}

func TestDestinationByName(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s, err := Start(t.Context(), setup(t, "bad-copy", 1))
		if err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if err := s.Do(t.Context(), procedure.DoDestination{Path: "spare"}); err != nil {
			t.Error(err)
		}
		var no *procedure.Refusal
		if err := s.Do(t.Context(), procedure.DoDestination{Path: "nowhere"}); !errors.As(err, &no) {
			t.Errorf("a drive that is not there: %v", err)
		}
		synctest.Wait()
		if n := len(s.View().Notices); n == 0 || !strings.Contains(s.View().Notices[n-1].What, "is not there.") {
			t.Errorf("told: %+v", s.View().Notices)
		}
		names := []string{}
		for _, d := range s.Shift().Dests {
			names = append(names, d.Name)
		}
		if !strings.Contains(strings.Join(names, " "), "SPARE") {
			t.Errorf("in use: %v, want SPARE among them", names)
		}
		if _, err := s.End(); err != nil {
			t.Error(err)
		}
	})
}

// playAsked plays a drill rightly; asked sees every question before it is answered.
func playAsked(t *testing.T, o Options, asked func(*Session, procedure.View)) (drill.Result, *Session) {
	t.Helper()
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	p := NewPlayer(s, Habits{})
	for began := time.Now(); !turn(t, s, p, func(bool) {}) && time.Since(began) < longest; {
		synctest.Wait()
		asked(s, s.View())
	}
	r, err := s.End()
	if err != nil {
		t.Error(err)
	}
	return r, s
}
