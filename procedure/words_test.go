package procedure

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"twobin/guard"
)

// Every kind of fault has its three parts, each on one line of 76 columns with names of usual length, without blame,
// codes or shouting.
func TestFaultWords(t *testing.T) {
	t.Parallel()
	for _, k := range guard.Kinds() {
		n := FaultNotice("A003", &guard.Error{Op: "copy", Item: "SHUTTLE", Path: "CLIPS/A003C001_R4KQ.mov", Kind: k, Need: 412e9, Err: errors.New("errno 28")})
		for part, s := range map[string]string{"what": n.What, "safe": n.Safe, "do": n.Do} {
			if s == "" {
				t.Errorf("%v: no %s", k, part)
			}
			if c := utf8.RuneCountInString(s); c > 90 {
				t.Errorf("%v %s: %d columns: %s", k, part, c, s)
			}
			for _, bad := range []string{"{", "!", "please", "Please", "unknown error", "errno", "you must"} {
				if strings.Contains(s, bad) {
					t.Errorf("%v %s has %q: %s", k, part, bad, s)
				}
			}
		}
		if !strings.Contains(n.Cause, "errno 28") {
			t.Errorf("%v: the cause is lost: %s", k, n.Cause)
		}
	}
}

// An erase that did not happen says why in its own words: not that the card is at fault, and not that a copy stopped.
func TestEraseNotice(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		err   error
		kind  guard.Kind
		files int
		want  string
	}{
		{guard.ErrExpired, guard.KindUnproven, 0, "too old"},
		{guard.ErrVoid, guard.KindUnproven, 0, "something changed since the fresh look"},
		{guard.ErrCopies, guard.KindUnproven, 0, "no longer there as it was"},
		{guard.ErrOther, guard.KindUnproven, 0, "something changed since the fresh look"},
		{errors.New("a new file"), guard.KindUnproven, 0, "something that is not proven"},
		{errors.New("canceled"), guard.KindStopped, 0, "before the first removal"},
		{errors.New("canceled"), guard.KindStopped, 2, "part of the way"},
	} {
		n := eraseNotice("A003", &guard.Error{Op: "erase", Item: "card", Kind: c.kind, Err: c.err}, guard.Erased{Files: c.files, Left: 3})
		if !strings.Contains(n.What, c.want) || strings.Contains(n.What, "the copy was stopped") || !strings.Contains(n.Safe, "3 left") || n.Do == "" {
			t.Errorf("%v, %v, %d removed: %+v; want %q", c.kind, c.err, c.files, n, c.want)
		}
	}
}

// The routine is the design's: thirteen steps, four critical, two optional.
func TestRoutine(t *testing.T) {
	t.Parallel()
	var critical, optional []string
	for i, s := range Routine() {
		if s.Step.Number() != i+1 || s.Step.String() != s.ID || len(s.Hands) == 0 || s.Why == "" || s.Brief == "" || s.Title == "" {
			t.Errorf("step %d: %+v", i+1, s)
		}
		if back, ok := StepByID(s.ID); !ok || back != s.Step {
			t.Errorf("StepByID(%q) = %v", s.ID, back)
		}
		if s.Critical {
			critical = append(critical, s.ID)
		}
		if s.Optional {
			optional = append(optional, s.ID)
		}
	}
	if got := strings.Join(critical, " "); got != "seat start reseat erase" {
		t.Errorf("critical: %s", got)
	}
	if got := strings.Join(optional, " "); got != "reseat erase" {
		t.Errorf("optional: %s", got)
	}
}
