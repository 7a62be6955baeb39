package practice

import (
	"context"
	"errors"
	"os"
	"testing"
	"testing/synctest"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/media"
	"twobin/training/drill"
	"twobin/training/world"
)

// longest is how long a drill may take on the bubble's clock: a player that is stuck must fail, not wait for ever.
const longest = 10 * time.Hour

// setup gives options for a drill with real media in folders of the test.
func setup(t testing.TB, name string, seed int64) Options {
	t.Helper()
	return options(t, name, seed, scratch(t), scratch(t))
}

func options(t testing.TB, name string, seed int64, home, below string) Options {
	t.Helper()
	d, ok := drill.Find(name)
	if !ok {
		t.Fatalf("no drill %s", name)
	}
	pol := guard.DefaultPolicy()
	return Options{
		Drill: d, Seed: seed, Trainee: "Kim", Coach: Brief, Home: home, Below: below, Pace: world.Natural, Policy: pol, Tool: "test",
		Media: func(id guard.Identifier, proofs string) procedure.Media {
			return media.New(media.Options{Ident: id, Proofs: proofs, Policy: pol, Tool: "twobin", Version: "test", Host: "test"})
		},
	}
}

// scratch is a folder in memory where there is one: thousands of flushes go there.
func scratch(t testing.TB) string {
	t.Helper()
	const shm = "/dev/shm"
	if st, err := os.Stat(shm); err != nil || !st.IsDir() {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp(shm, "twobin-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// play lets a player work a drill to its end, over power cuts, and gives the result. It runs in a bubble: all waiting
// is on the bubble's clock.
func play(t *testing.T, o Options, h Habits) (drill.Result, *Session) {
	t.Helper()
	return playHands(t, o, h, func(bool) {})
}

// playSeen is play with somebody who looks on: seen gets the view after every move.
func playSeen(t *testing.T, o Options, h Habits, seen func(procedure.View)) (drill.Result, *Session) {
	t.Helper()
	return playWith(t, o, h, func(bool) {}, seen)
}

// playHands is play with hands for a real card: hands is told, again and again, whether it belongs in the reader.
func playHands(t *testing.T, o Options, h Habits, hands func(in bool)) (drill.Result, *Session) {
	t.Helper()
	return playWith(t, o, h, hands, func(procedure.View) {})
}

// playWith is play with hands and with somebody who looks on.
func playWith(t *testing.T, o Options, h Habits, hands func(in bool), seen func(procedure.View)) (drill.Result, *Session) {
	t.Helper()
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	p := NewPlayer(s, h)
	for !turn(t, s, p, hands) {
		seen(s.View())
		if time.Since(began) > longest {
			v := s.View()
			t.Errorf("%s seed %d: stuck at step %s, prompt %+v, world %q, notices %+v", o.Drill.Name, o.Seed, v.Step.ID, v.Prompt, v.World, v.Notices)
			break
		}
		select {
		case <-s.Cut():
			s, p = again(t, o, s, h)
		default:
		}
	}
	r, err := s.End()
	if err != nil {
		t.Errorf("%s seed %d: end: %v", o.Drill.Name, o.Seed, err)
	}
	return r, s
}

// turn lets the player think and make one move; true when the drill has ended.
func turn(t *testing.T, s *Session, p *Player, hands func(in bool)) bool {
	t.Helper()
	if synctest.Wait(); s.View().Ended {
		return true
	}
	if hands(s.CardInReader()); s.o.Card != "" {
		time.Sleep(time.Second) // the reader is looked at
		synctest.Wait()
	}
	if v := s.View(); v.Prompt == nil && !v.Away {
		time.Sleep(200 * time.Millisecond)
		return false
	}
	time.Sleep(think)
	synctest.Wait()
	m := p.Next(s.View())
	if m.Intent == nil {
		time.Sleep(max(m.Wait, 200*time.Millisecond))
		return false
	}
	var no *procedure.Refusal
	if err := s.Do(t.Context(), m.Intent); err != nil && !errors.As(err, &no) {
		t.Errorf("%+v: %v", m.Intent, err)
	}
	return false
}

// again is the trainee who starts the program again after the power came back.
func again(t *testing.T, o Options, s *Session, h Habits) (*Session, *Player) {
	t.Helper()
	if err := s.Leave(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Minute)
	b, err := ReadBook(o.Home, o.Trainee)
	if err != nil {
		t.Fatal(err)
	}
	r, ok := b.Waiting()
	if !ok {
		t.Fatalf("no drill waits after the power cut: %+v", b)
	}
	o.Again = &r
	s, err = Start(context.WithoutCancel(t.Context()), o)
	if err != nil {
		t.Fatal(err)
	}
	return s, NewPlayer(s, h)
}
