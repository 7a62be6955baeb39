package command

import (
	"slices"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// TestElsewhere: labels come from other shifts of the same production that were written to since, and from no other.
func TestElsewhere(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	day := func(station string, label procedure.Label) *harbour.Day {
		d := harbour.Begin(1, station, "Kim")
		d.SetUp("A", "blue")
		d.Receive(label)
		return d
	}
	cart := day("cart", "A001")
	if err := harbour.Home(home, []*harbour.Day{cart, day("truck", "A002")}, "cart.jsonl", "truck.jsonl"); err != nil {
		t.Fatal(err)
	}
	mine := *cart.Shift.Opened
	before := time.Now().Add(-time.Hour)
	if got := elsewhere(home, mine, before); !slices.Equal(got, []procedure.Label{"A002"}) {
		t.Errorf("elsewhere = %v, want the truck's A002", got)
	}
	if got := elsewhere(home, mine, time.Now().Add(time.Hour)); len(got) != 0 {
		t.Errorf("written to before: %v", got)
	}
	other := mine
	other.Production = "Other"
	if got := elsewhere(home, other, before); len(got) != 0 {
		t.Errorf("of another production: %v", got)
	}
}
