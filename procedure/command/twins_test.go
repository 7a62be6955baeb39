package command

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// TestTwins: earlier rolls of the production are found by looks and by contents; what cannot be read is no question.
func TestTwins(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 5, 6, 10, 0, 0, 0, time.UTC)
	clip, other := harbour.File("A001", "CLIPS/A001_1.vid", 5e9, at), harbour.File("A001", "CLIPS/A001_2.vid", 6e9, at)
	home := t.TempDir()
	d := harbour.Begin(2, "cart", "Kim")
	d.SetUp("A", "blue")
	d.SetFiles("A001", clip)
	d.SetFiles("A002", other)
	for _, l := range []procedure.Label{"A001", "A002"} {
		d.Receive(l)
		d.Walk(l)
	}
	if err := harbour.Home(home, []*harbour.Day{d}, "day2.jsonl"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(home, "journals", "broken.jsonl"), []byte("{\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, e := range d.Entries {
		if ev, ok := e.Event.(procedure.CopyProven); ok && e.Roll == "A002" {
			if err := os.Truncate(filepath.Join(home, "proofs", ev.Proof+".proof"), 100); err != nil {
				t.Fatal(err)
			}
		}
	}
	today := harbour.Begin(3, "cart", "Kim").Shift
	p := &guard.Proof{Files: []guard.File{clip, other}}
	log := slog.New(slog.DiscardHandler)
	texts := func(ts []procedure.Twin) string {
		var out []string
		for _, x := range ts {
			out = append(out, x.Text)
		}
		return strings.Join(out, "\n")
	}
	const q = " A001 of day 2 (CLIPS/A001_1.vid"
	looks, equal := "some clips may be the same as on"+q+"; name, size and time are): was the card not formatted in between?",
		"some clips stand also on"+q+"): was the card not formatted in between?"
	tw := &twins{home: home, log: log}
	ended, end := context.WithCancel(context.Background())
	end()
	for _, c := range []struct {
		name string
		tw   *twins
		ctx  context.Context
		p    *guard.Proof
		want string
	}{
		{"the program ends", tw, ended, nil, ""},
		{"by looks, asked again", tw, t.Context(), nil, looks},
		{"by contents", tw, t.Context(), p, equal},
		{"no journals", &twins{home: t.TempDir(), log: log}, t.Context(), p, ""},
	} {
		if diff := cmp.Diff(c.want, texts(c.tw.find(c.ctx, today, "B001", p.Listing(), c.p))); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
	drill := today.Clone()
	drill.Opened.Drill = "first day"
	if got := tw.find(t.Context(), drill, "B001", p.Listing(), p); got != nil {
		t.Errorf("a drill asks about real rolls: %+v", got)
	}
}
