package journal

import (
	"encoding/json"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
	"unsafe"
)

func TestJump(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 10, 26, 2, 59, 59, 0, time.FixedZone("", 2*3600))
	winter := time.FixedZone("", 3600)
	for _, tt := range []struct {
		name   string
		wall   time.Time
		mono   time.Duration
		run    int
		by     time.Duration
		jumped bool
	}{
		{"steady", at.Add(time.Hour), time.Hour, 1, 0, false},
		{"slow drift", at.Add(time.Hour + 2*time.Second), time.Hour, 1, 2 * time.Second, false},
		{"forward", at.Add(time.Hour + 2*time.Second + 1), time.Hour, 1, 2*time.Second + 1, true},
		{"back", at, time.Hour, 1, -time.Hour, true},
		{"back within limit", at.Add(-2 * time.Second), 0, 1, -2 * time.Second, false},
		{"summer time ends: the offset changes, the instant does not", at.Add(2 * time.Second).In(winter), 2 * time.Second, 1, 0, false},
		{"next run, later", at.Add(9 * time.Hour), 0, 2, 0, false},
		{"next run, earlier", at.Add(-time.Minute), 0, 2, -time.Minute, true},
	} {
		by, jumped := Jump(Line{Run: 1, Time: at}, Line{Run: tt.run, Time: tt.wall, Mono: tt.mono})
		if by != tt.by || jumped != tt.jumped {
			t.Errorf("%s: Jump = %v, %v, want %v, %v", tt.name, by, jumped, tt.by, tt.jumped)
		}
	}
}

// hands is a wall clock and a monotonic clock that are moved by hand.
type hands struct {
	wall time.Time
	mono time.Duration
}

func (h *hands) pass(d time.Duration) { h.wall, h.mono = h.wall.Add(d), h.mono+d }

func (h *hands) options() Options {
	return Options{Now: func() time.Time { return h.wall }, Mono: func() time.Duration { return h.mono }}
}

func TestInvariant11DurationsAreMonotonicAndJumpsAreNoted(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	h := &hands{wall: time.Date(2031, 5, 6, 23, 59, 0, 0, time.FixedZone("", -(3*3600+30*60))), mono: 77 * time.Hour}
	j, lines := mustOpen(t, path, h.options())
	add := func(name string) []Line {
		out := mustAppend(t, j, Line{Event: name})
		lines = append(lines, out...)
		return out
	}
	h.pass(30 * time.Second)
	add("card.seated")
	h.mono += 20 * time.Second
	h.wall = h.wall.Add(-3 * time.Hour) // someone sets the clock back
	if out := add("copy.started"); len(out) != 2 || out[0].Event != EventJumped || out[1].Event != "copy.started" {
		t.Errorf("after the jump Append gave %d lines, want the jump and the event", len(out))
	}
	h.pass(time.Minute)
	if out := add("copy.ended"); len(out) != 1 {
		t.Errorf("the same jump is noted twice: %v", out)
	}
	var d JumpedData
	if err := json.Unmarshal(lines[2].Data, &d); err != nil || d.By != -3*time.Hour-20*time.Second {
		t.Errorf("noted jump %v (%v), want -3h0m20s", d.By, err)
	}
	// Durations come out right although the wall clock went back.
	for i, want := range map[int]time.Duration{1: 30 * time.Second, 3: 50 * time.Second, 4: 110 * time.Second} {
		if lines[i].Mono != want {
			t.Errorf("%s at %v of the run, want %v", lines[i].Event, lines[i].Mono, want)
		}
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(raw)) {
		if !strings.Contains(line, `-03:30","run":`) {
			t.Errorf("no offset in %s", line)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	h.wall, h.mono = h.wall.Add(-24*time.Hour), 0 // next run, another monotonic clock, a date of yesterday
	_, again := mustOpen(t, path, h.options())
	if n := len(lines); len(again) != n+2 || again[n].Event != EventOpened || again[n+1].Event != EventJumped || again[n+1].Mono != 0 {
		t.Errorf("opened under an earlier date: %+v", again[n:])
	}
}

// A monotonic clock that stands still or even goes back (a broken one) never makes a negative duration; two appends never
// share one Mono, the lines of one append do.
func TestInvariant11MonoNeverFalls(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	h := &hands{wall: time.Date(2031, 5, 6, 0, 0, 0, 0, time.UTC)}
	j, _ := mustOpen(t, path, h.options())
	h.mono = time.Second
	a := mustAppend(t, j, Line{Event: "a"}, Line{Event: "b"})
	h.mono = 0
	b := mustAppend(t, j, Line{Event: "c"})
	if a[0].Mono != time.Second || a[1].Mono != a[0].Mono || b[0].Mono <= a[1].Mono {
		t.Errorf("mono %v %v, then %v", a[0].Mono, a[1].Mono, b[0].Mono)
	}
	mustRead(t, path)
	h.wall = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)
	if out, err := j.Append(t.Context(), Line{Event: "d"}); out != nil || err == nil {
		t.Errorf("year 10000: %v, %v", out, err)
	}
}

// With the system's clocks and many goroutines: numbers without a gap, Mono rising.
func TestAppendConcurrently(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	j, _ := mustOpen(t, path, Options{})
	var wg sync.WaitGroup
	for lane := range 4 {
		wg.Go(func() {
			for range 10 {
				if _, err := j.Append(t.Context(), Line{Event: "a", Lane: lane}, Line{Event: "b", Lane: lane}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	lines := mustRead(t, path)
	if len(lines) != 1+4*10*2 {
		t.Fatalf("%d lines", len(lines))
	}
	for i := 1; i < len(lines); i += 2 {
		a, b := lines[i], lines[i+1]
		if a.Event != "a" || b.Event != "b" || a.Lane != b.Lane || a.Mono != b.Mono || a.Mono <= lines[i-1].Mono {
			t.Errorf("lines %d and %d are not one append: %+v %+v", i+1, i+2, a, b)
		}
	}
}

// Without Options.Mono the monotonic reading that a time carries is used. No test can turn the system's wall clock alone,
// so here a time gets another monotonic reading by hand; the test fails if that does not work as it thinks.
func TestInvariant11TheMonotonicReadingOfNowCounts(t *testing.T) {
	t.Parallel()
	begin := time.Now()
	at := begin
	j, _ := mustOpen(t, tempPath(t), Options{Now: func() time.Time { return at }})
	at = begin.Add(time.Minute) // both clocks
	ext := (*int64)(unsafe.Add(unsafe.Pointer(&at), 8))
	*ext -= int64(50 * time.Second) // the monotonic one has seen ten seconds
	if mono, wall := at.Sub(begin), at.Round(0).Sub(begin.Round(0)); mono != 10*time.Second || wall != time.Minute {
		t.Fatalf("the two clocks of a time are not where this test looks: %v, %v", mono, wall)
	}
	out := mustAppend(t, j, Line{Event: "a"})
	if len(out) != 2 || out[0].Event != EventJumped || out[1].Mono != 10*time.Second {
		t.Errorf("after 10 s, in which the wall clock moved a minute: %+v", out)
	}
}
