package pocket

import (
	"strings"
	"testing"

	"twobin/procedure"
)

// TestSameAsProgram: every step of the routine is on the card, in order, with the routine's own words, and none besides.
func TestSameAsProgram(t *testing.T) {
	t.Parallel()
	c := Of()
	routine := procedure.Routine()
	if len(c.Steps) != len(routine) || len(c.Strips()) != len(routine) {
		t.Fatalf("%d steps, %d strips; the routine has %d", len(c.Steps), len(c.Strips()), len(routine))
	}
	text := strings.Join(strings.Fields(c.Text(80)), " ")
	at := 0
	for i, s := range routine {
		for _, want := range append([]string{c.Steps[i].Head()}, s.Hands...) {
			k := strings.Index(text[at:], want)
			if k < 0 {
				t.Errorf("step %s: %q is not on the card behind the steps before it", s.ID, want)
				continue
			}
			at += k
		}
		if got := strings.Contains(c.Steps[i].Head(), "critical"); got != s.Critical {
			t.Errorf("step %s: critical on the card %v, in the routine %v", s.ID, got, s.Critical)
		}
		if got := strings.Contains(c.Steps[i].Head(), "optional"); got != s.Optional {
			t.Errorf("step %s: optional on the card %v, in the routine %v", s.ID, got, s.Optional)
		}
		if got := c.Strips()[i]; got.Line != s.Brief || !strings.Contains(got.Head, s.Title) {
			t.Errorf("strip of %s = %+v", s.ID, got)
		}
	}
	if len(c.Always) != len(always) {
		t.Errorf("%d commands on the card, want %d: one is no longer a command", len(c.Always), len(always))
	}
}

// TestOnePage: at 80 columns the card fits a page of 66 lines (common practice for a page of text, no source).
func TestOnePage(t *testing.T) {
	t.Parallel()
	for _, width := range []int{0, 40, 60, 80, 120} {
		lines := strings.Split(strings.TrimSuffix(Of().Text(width), "\n"), "\n")
		for _, l := range lines {
			if len(l) > max(width, minWidth) {
				t.Errorf("width %d: a line of %d: %q", width, len(l), l)
			}
			if l != procedure.Plain(l) || strings.HasSuffix(l, " ") {
				t.Errorf("width %d: line %q", width, l)
			}
		}
		if width >= 80 && len(lines) > 66 {
			t.Errorf("width %d: %d lines, want a page of 66", width, len(lines))
		}
	}
}

func TestStripText(t *testing.T) {
	t.Parallel()
	got := Of().StripText()
	if n := strings.Count(got, "\n\n"); n != len(procedure.Routine())-1 {
		t.Errorf("%d empty lines between the strips", n)
	}
	if !strings.HasPrefix(got, "1 Receive\n"+procedure.StepReceive.Spec().Brief+"\n\n2 Pick\n") {
		t.Errorf("strips begin %.80q", got)
	}
}
