package command_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// earlierDay writes a day 2 of the production into the bench's data folder. Its roll A052 has one of the card's clips
// under another name. The proof of A053, which has it too, is damaged: that is no question.
func (b *bench) earlierDay() {
	b.tb.Helper()
	at := time.Date(2031, 5, 6, 10, 0, 0, 0, time.UTC)
	const equal = "CLIPS/A001C002_M2ZT.mov"
	d := harbour.Begin(2, "cart", "Kim")
	d.SetUp("A", "blue")
	same := harbour.File("A052", "CLIPS/OTHER_NAME.mov", int64(cardFiles[equal]), at)
	same.Hash = xxhash.Sum64(fileOf(equal, cardFiles[equal]))
	d.SetFiles("A052", same)
	d.SetFiles("A053", guard.File{Entry: same.Entry, Hash: same.Hash})
	for _, l := range []procedure.Label{"A053", "A052"} {
		d.Receive(l)
		d.Walk(l)
	}
	if err := harbour.Home(b.home, []*harbour.Day{d}, "day2.jsonl"); err != nil {
		b.tb.Fatal(err)
	}
	for _, e := range d.Entries {
		if ev, ok := e.Event.(procedure.CopyProven); ok && e.Roll == "A053" {
			name := filepath.Join(b.home, "proofs", ev.Proof+".proof")
			raw, err := os.ReadFile(name)
			if err != nil {
				b.tb.Fatal(err)
			}
			raw[len(raw)/2] ^= 1
			if err := os.WriteFile(name, raw, 0o644); err != nil {
				b.tb.Fatal(err)
			}
		}
	}
}

// Clips that an earlier day has too are asked about at the count. The label of the other roll is not on the screen that
// asks for a figure, nothing is blocked, and at the critical steps nothing of it is there.
func TestTwinsBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.earlierDay()
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.toPick("p")
		b.toSeat()
		b.toStart()
		b.toLog()
		b.toCount()
		b.sees("Ask the camera department: some clips stand also on A052 of day 2 (CLIPS/A001C002_M2ZT.mov): was the card not formatted in between?")
		b.choose("count.written", "w", "how many files")
		if g, ok := b.hands.(glassHands); ok {
			if s := g.Screen(); strings.Contains(s, "A052") || !strings.Contains(s, "Ask the camera department") {
				t.Errorf("the screen that asks for a figure must show the question without its label:\n%s", s)
			}
		}
		b.write("count.files", "how many files", fmt.Sprint(len(cardFiles)), "what size")
		b.write("count.size", "what size", "14.7", "the card lies on the desk")
		b.toLook()
		b.toMark()
		b.toBin()
		b.toGreen()
		b.toReseat()
		if g, ok := b.hands.(glassHands); ok {
			if s := g.Screen(); strings.Contains(s, "camera department") {
				t.Errorf("a question to the camera department at a critical step:\n%s", s)
			}
		}
		b.leave()
	})
}
