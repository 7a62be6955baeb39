package school

import (
	"testing"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/training/practice"
)

// TestJournalsAreValid: the chain of every journal is whole, and its events fold in the routine's order.
func TestJournalsAreValid(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	paths, events, err := Write(home, Options{Weeks: 4})
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, p := range paths {
		rep, err := journal.Verify(p)
		if err != nil || !rep.Whole {
			t.Fatalf("Verify(%s) = %v, %v", p, rep, err)
		}
		lines, _, err := journal.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		s, es, err := procedure.Fold(lines)
		if err != nil {
			t.Fatalf("Fold(%s): %v", p, err)
		}
		if !s.Closed || len(s.Open()) > 0 {
			t.Errorf("%s: closed %v, open %v", p, s.Closed, s.Open())
		}
		seen += len(es)
	}
	if seen != events || events < 5000 {
		t.Errorf("%d events counted, %d said", seen, events)
	}
	b, err := practice.ReadBook(home, "Ada")
	if err != nil || len(b) != 16 {
		t.Errorf("ReadBook: %d drills, %v; want 16", len(b), err)
	}
}
