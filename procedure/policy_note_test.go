package procedure_test

import (
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
)

// A shift that was opened under a stricter policy stays under it, whatever is named when it is gone on with.
func TestPolicyNoteOver(t *testing.T) {
	t.Parallel()
	opened := procedure.PolicyNote{Destinations: 3, Recheck: "full", StartMS: 20_000, DeskMS: 60_000, EraseMS: 30_000}
	got := opened.Over(guard.DefaultPolicy())
	if got.Destinations != 3 || got.Recheck != guard.RecheckFull || got.StartWithin != 20*time.Second || got.DeskWithin != time.Minute || got.EraseWithin != 30*time.Second {
		t.Errorf("%+v.Over(default) = %+v", opened, got)
	}
	strict := guard.DefaultPolicy()
	strict.Destinations, strict.EraseWithin = 4, 10*time.Second
	if got := opened.Over(strict); got.Destinations != 4 || got.EraseWithin != 10*time.Second {
		t.Errorf("a stricter policy was made laxer: %+v", got)
	}
}
