package command_test

import (
	"path/filepath"
	"testing"

	"twobin/procedure/sheet/harbour"
)

// TestFollowOnATerminal: the board is there before the shift, shows the first roll that a journal has, and q leaves.
func TestFollowOnATerminal(t *testing.T) {
	t.Parallel()
	home := filepath.Join(t.TempDir(), "home")
	g := openGlass(t, binary(t), "board", "--home", home, "--follow")
	g.Until("No shift was begun yet")
	d := harbour.Begin(1, "cart", "Kim")
	d.SetUp("A", "blue")
	d.Receive("A001")
	if err := harbour.Home(home, []*harbour.Day{d}, "day1.jsonl"); err != nil {
		t.Fatal(err)
	}
	g.Until("A blue    001")
	g.Until("q leaves")
	g.Send("q")
	if code := g.ended(); code != 0 {
		t.Errorf("exit code %d", code)
	}
}
