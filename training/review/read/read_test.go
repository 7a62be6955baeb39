package read_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/review/read"
	"twobin/training/review/school"
)

func TestOneRoll(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.add("A001", procedure.RollReceived{Answered: took("receive.bin", 7)})
	d.toStart("A001", 1)
	d.toGreen("A001")
	d.add("A001", procedure.RollTaken{Answered: took("next", 1), For: "erase"})
	d.add("A001", procedure.CardSeated{})
	d.add("A001", procedure.RollReseated{Answered: took("reseat.in", 200)})
	d.add("A001", procedure.LockLooked{Open: true, LookMS: 900})
	d.add("A001", procedure.EraseBegan{Answered: took("erase.label", 300)})
	d.add("A001", procedure.EraseDone{TookMS: 1200})
	d.add("A001", procedure.RollReturned{Answered: took("return.to", 400)})
	s := d.one()
	if len(s.Runs) != 1 {
		t.Fatalf("%d runs", len(s.Runs))
	}
	r := s.Runs[0]
	want := map[string]int64{
		"receive": 7, "pick": 130, "seat": 30, "start": 40, "log": 50, "count": 66, "pull": 70, "look": 161, "mark": 90, "bin": 95,
		"reseat": 200, "erase": 300, "return": 400,
	}
	if diff := cmp.Diff(want, hands(r)); diff != "" {
		t.Error(diff)
	}
	if total, ok := r.Total(); !ok || total != 130+30+40+50+66+70+161+90+95 {
		t.Errorf("Total() = %d, %v", total, ok)
	}
	// A second lies between any two events: two from seating to start, less 700 ms of scan; four from pull to bin.
	if r.SeatToStart != 1300 || r.Desk != 4000 || r.LookToErase != 1000 {
		t.Errorf("spans %d, %d, %d; want 1300, 4000, 1000", r.SeatToStart, r.Desk, r.LookToErase)
	}
	if r.Scan != 700 || r.Copy != 8000 || r.Look != 900 || r.Erase != 1200 || r.Machine() != 10_800 {
		t.Errorf("machine %d %d %d %d", r.Scan, r.Copy, r.Look, r.Erase)
	}
	if got, want := kinds(r.Marks), "wrong label read@pick wrong count@count wrong look@look"; got != want {
		t.Errorf("marks %q, want %q", got, want)
	}
}

func TestPutBackBeginsAnotherRun(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.add("A001", procedure.RollReceived{Answered: took("receive.bin", 7)})
	d.toStart("A001", 1)
	d.add("A001", procedure.PutBack{Answered: took("start.go", 9000), Step: "start", Reason: "phone"})
	d.toStart("A001", 2)
	d.toGreen("A001")
	s := d.one()
	if len(s.Runs) != 2 || s.Runs[0].Pass != 1 || s.Runs[1].Pass != 2 {
		t.Fatalf("runs %+v", s.Runs)
	}
	first, second := s.Runs[0], s.Runs[1]
	if diff := cmp.Diff(map[string]int64{"receive": 7, "pick": 130, "seat": 30}, hands(first)); diff != "" {
		t.Error(diff)
	}
	if _, ok := first.Total(); ok || first.Broken[procedure.StepStart] != 1 {
		t.Errorf("the first pass has a total, or start is not broken off: %v", first.Broken)
	}
	if total, ok := second.Total(); !ok || total != 732 || second.Hands[procedure.StepStart] != 40 {
		t.Errorf("second pass: %d, %v, start %d", total, ok, second.Hands[procedure.StepStart])
	}
}

// TestPutBackFromErase: the same pass goes on; what the broken attempt took is not in it.
func TestPutBackFromErase(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.add("A001", procedure.RollReceived{Answered: took("receive.bin", 7)})
	d.toStart("A001", 1)
	d.toGreen("A001")
	for range 2 {
		d.add("A001", procedure.RollTaken{For: "erase"})
		d.add("A001", procedure.CardSeated{})
		d.add("A001", procedure.RollReseated{Answered: took("reseat.in", 200)})
		d.add("A001", procedure.LockLooked{Open: false, LookMS: 1})
		d.add("A001", procedure.PutBack{Answered: took("reseat.look", 5), Step: "reseat"})
	}
	d.add("A001", procedure.RollTaken{For: "erase"})
	d.add("A001", procedure.CardSeated{})
	d.add("A001", procedure.RollReseated{Answered: took("reseat.in", 333)})
	d.add("A001", procedure.LockLooked{Open: true, LookMS: 1})
	s := d.one()
	if len(s.Runs) != 1 || s.Runs[0].Broken[procedure.StepReseat] != 2 || s.Runs[0].Hands[procedure.StepReseat] != 333 || s.Runs[0].Look != 3 {
		t.Errorf("runs %+v", s.Runs)
	}
}

// TestSpansOverTwoRunsOfTheProgram: what lay on the desk while the program was not running was not measured.
func TestSpansOverTwoRunsOfTheProgram(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.toStart("A001", 1)
	for _, ev := range []procedure.Event{
		procedure.CopyBegan{Answered: took("start.go", 40)}, procedure.RollLogged{}, procedure.CountRead{What: "size", Right: true},
		procedure.CardPulled{Answered: took("pull.desk", 70)},
	} {
		d.add("A001", ev)
	}
	if err := d.j.Close(); err != nil {
		t.Fatal(err)
	}
	d.mono = 0
	d.open()
	d.add("A001", procedure.DestLooked{Answered: took("look.RAID", 81), Dest: "RAID", Right: true})
	d.add("A001", procedure.RollMarked{Answered: took("mark.green", 90)})
	d.add("A001", procedure.RollBinned{Answered: took("bin.green", 95)})
	s := d.one()
	if len(s.Runs) != 1 || s.Runs[0].Desk != -1 || s.Runs[0].SeatToStart < 0 {
		t.Errorf("runs %+v", s.Runs)
	}
	if _, ok := s.Runs[0].Total(); !ok {
		t.Error("the pass is not complete, though every step of it was done")
	}
}

func TestHoldAndProgramEnd(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.add("A001", procedure.RollReceived{Answered: took("receive.bin", 7)})
	d.toStart("A001", 1)
	d.add("A001", procedure.CopyBegan{Answered: took("start.go", 40)})
	d.add("A001", procedure.RollHeld{Answered: took("log.serial", 1), Step: "log", Reason: "copy failed", By: "program"})
	d.toStart("A001", 2)
	if err := d.j.Close(); err != nil {
		t.Fatal(err)
	}
	d.mono = 0
	d.open() // the program begins anew: what was in the reader is due at the pick
	d.toStart("A001", 3)
	d.toGreen("A001")
	s := d.one()
	var got []string
	for _, r := range s.Runs {
		_, ok := r.Total()
		got = append(got, fmt.Sprintf("pass %d %v %s", r.Pass, ok, kinds(r.Marks)))
	}
	want := []string{
		"pass 1 false wrong label read@pick on hold@log", "pass 2 false wrong label read@pick program ended@none",
		"pass 3 true wrong label read@pick wrong count@count wrong look@look",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestTwoOperators: whoever takes over has a run of their own, and the total is nobody's.
func TestTwoOperators(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.toStart("A001", 1)
	d.who = "Robin"
	d.add("", procedure.OperatorChanged{From: "Kim", To: "Robin"})
	d.toGreen("A001")
	d.who = "ROBIN " // the same person
	d.add("A001", procedure.RollReturned{Answered: took("return.to", 400)})
	s := d.one()
	if len(s.Runs) != 2 || s.Runs[0].Trainee != "Kim" || s.Runs[1].Trainee != "Robin" || !s.Runs[0].Shared || !s.Runs[1].Shared {
		t.Fatalf("runs %+v", s.Runs)
	}
	if s.Runs[0].Hands[procedure.StepPick] != 130 || s.Runs[1].Hands[procedure.StepBin] != 95 || s.Runs[1].Hands[procedure.StepReturn] != 400 {
		t.Error("times are with the wrong person")
	}
}

func TestRefusalsAndIncidents(t *testing.T) {
	t.Parallel()
	d := begin(t, procedure.ShiftOpened{Operator: "Kim", Drill: "phone", Seed: 4, Coach: "brief"})
	d.add("A001", procedure.RollReceived{Answered: took("receive.bin", 7)})
	d.add("", procedure.Refused{Asked: "pick", Due: "receive", Why: "nothing there"})
	d.toStart("A001", 1)
	d.add("A001", procedure.Refused{Asked: "copy.began", Due: "start", Why: "too long since seating; put back"})
	d.add("A001", procedure.Refused{Asked: "roll.returned", Due: "start", Why: "not due"})
	d.add("A001", procedure.Refused{Asked: "start.go", Due: "start", Why: "none of the answers"})
	d.add("A001", procedure.TooLate{Step: "start", LimitMS: 30_000})
	d.add("A001", procedure.Incident{Kind: "call-start", ID: "i1"})
	d.add("A001", procedure.Incident{Kind: drill.ActKind, ID: drill.ActAnswer})
	d.add("A001", procedure.AwayBegan{Step: "log"})
	d.add("A001", procedure.AwayEnded{Step: "log", AwayMS: 4200})
	d.add("", procedure.TapesCounted{Counted: 2, Want: 1})
	d.add("", procedure.IncidentScored{Kind: "call-start", ID: "i1", Result: "late", Why: "but late"})
	d.add("", procedure.IncidentScored{Kind: drill.DrillKind, ID: "phone", Result: "not passed", Why: "1 late"})
	s := d.one()
	if s.Drill != "phone" || s.Coach != "brief" || s.Outcome != "not passed" || s.Lacking != "1 late" || s.Watched() {
		t.Errorf("session %+v", s)
	}
	want := "wrong label read@pick no such answer@start out of order@start no such answer@start over a limit@start incident@start called away@log wrong count@none"
	if got := kinds(s.Runs[0].Marks); got != want {
		t.Errorf("marks\n%s, want\n%s", got, want)
	}
	if got := kinds(s.Loose); got != "out of order@receive" {
		t.Errorf("loose %q", got)
	}
	if len(s.Incidents) != 1 || s.Incidents[0].Result != "late" || s.Incidents[0].Who != "Kim" || s.Runs[0].Away != 4200 {
		t.Errorf("incidents %+v, away %d", s.Incidents, s.Runs[0].Away)
	}
}

// TestDamage: the line is named, what stands before it counts, and the rest of the journals too.
func TestDamage(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.add("A001", procedure.RollReceived{Answered: took("receive.bin", 7)})
	d.toStart("A001", 1)
	d.toGreen("A001")
	whole := d.read()
	raw, err := os.ReadFile(d.path)
	if err != nil {
		t.Fatal(err)
	}
	lines := bytes.SplitAfter(raw, []byte{'\n'})
	dir := t.TempDir()
	write := func(name string, b []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	bad := bytes.Clone(raw)
	bad[len(bytes.Join(lines[:5], nil))+200] ^= 1 // in line 6
	write("a-bad.jsonl", bad)
	write("b-torn.jsonl", raw[:len(raw)-10])
	write("c-empty.jsonl", nil)
	write("d-other.jsonl", []byte("hello\n"))
	write("e-not-begun.jsonl", lines[0])
	paths, err := read.Find(dir)
	if err != nil {
		t.Fatal(err)
	}
	// Copies of one journal count once: the longest.
	set, err := read.Read(t.Context(), append(paths, d.path, filepath.Join(dir, "gone.jsonl")))
	if err != nil {
		t.Fatal(err)
	}
	if len(set.Sessions) != 1 || set.Sessions[0].Path != d.path || set.Sessions[0].Lines != len(lines)-1 || len(whole.Sessions) != 1 {
		t.Fatalf("%d sessions of %d lines", len(set.Sessions), set.Sessions[0].Lines)
	}
	alone, err := read.Read(t.Context(), []string{filepath.Join(dir, "a-bad.jsonl")})
	if err != nil || len(alone.Sessions) != 1 || alone.Sessions[0].Lines != 5 || len(alone.Left) != 1 || alone.Left[0].Line != 6 || alone.Left[0].Used != 5 {
		t.Errorf("damaged in line 6: %+v, %v", alone.Left, err)
	}
	want := []struct{ name, why string }{
		{"a-bad.jsonl", "is the same journal as "}, {"b-torn.jsonl", "is the same journal as "}, {"c-empty.jsonl", "is empty"},
		{"d-other.jsonl", "is damaged in line 1: "}, {"e-not-begun.jsonl", "is no journal of a shift or drill"}, {"gone.jsonl", "cannot be read: "},
	}
	if len(set.Left) != len(want) {
		t.Fatalf("%d left out, want %d: %v", len(set.Left), len(want), set.Left)
	}
	for i, w := range want {
		if l := set.Left[i]; filepath.Base(l.Path) != w.name || !strings.HasPrefix(l.Why, w.why) || l.Used != 0 {
			t.Errorf("left out %+v, want %v", l, w)
		}
	}
}

// TestNewerEvents: an event that is not known is skipped and said.
func TestNewerEvents(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.raw("A001", "roll.blessed", json.RawMessage(`{"by":"nobody"}`))
	d.toStart("A001", 1)
	d.raw("A001", "card.scanned", json.RawMessage(`{"scan_ms":"long"}`))
	set := d.read()
	if len(set.Sessions) != 1 || len(set.Left) != 1 || set.Left[0].Line != 3 || !strings.Contains(set.Left[0].Why, "2 events") || !strings.Contains(set.Left[0].Why, "roll.blessed") {
		t.Errorf("left out %+v", set.Left)
	}
}

// TestTimesAgainstPlainSums adds up, from the bare JSON of the school's journals, every answer's time by step, and compares
// it with what the runs have, for all journals in which nothing was broken off.
func TestTimesAgainstPlainSums(t *testing.T) {
	t.Parallel()
	paths, _, err := school.Write(t.TempDir(), school.Options{Weeks: 4})
	if err != nil {
		t.Fatal(err)
	}
	set, err := read.Read(t.Context(), paths)
	if err != nil || len(set.Left) > 0 || len(set.Sessions) != len(paths) {
		t.Fatal(err, set.Left)
	}
	compared := 0
	for _, s := range set.Sessions {
		raw, err := os.ReadFile(s.Path)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(raw, []byte(`"roll.putback"`)) || bytes.Contains(raw, []byte(`"roll.held"`)) {
			continue
		}
		compared++
		want := map[string]int64{}
		for line := range strings.Lines(string(raw)) {
			var l struct {
				Data struct {
					Prompt string `json:"prompt"`
					TookMS int64  `json:"took_ms"`
				} `json:"data"`
			}
			if err := json.Unmarshal([]byte(line), &l); err != nil {
				t.Fatal(err)
			}
			group, _, dotted := strings.Cut(l.Data.Prompt, ".")
			if dotted && group != "setup" && group != "close" {
				want[group] += l.Data.TookMS
			}
		}
		got := map[string]int64{}
		for _, r := range s.Runs {
			for k, v := range hands(r) {
				got[k] += v
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("%s: %s", s.Path, diff)
		}
	}
	if compared < 40 {
		t.Errorf("only %d journals compared", compared)
	}
}

func TestTimeline(t *testing.T) {
	t.Parallel()
	d := shift(t)
	d.toStart("A001", 1)
	d.add("B001", procedure.RollReceived{})
	d.add("A001", procedure.PutBack{Answered: took("start.go", 9000), Step: "start", Reason: "phone"})
	s := d.one()
	ms, err := read.Timeline(s.Path, "A001", s.Runs[0].First, s.Runs[0].Last)
	if err != nil || len(ms) != 8 {
		t.Fatalf("%d moments, %v", len(ms), err)
	}
	if got := ms[7]; got.Text != "PUT BACK at start: phone" || got.At != 8*time.Second || got.Took != 9*time.Second || !got.Answered || got.Line != 11 {
		t.Errorf("last moment %+v", got)
	}
	if got := ms[1].Text; got != "label read from the card: A009, WRONG" {
		t.Errorf("Text = %q", got)
	}
}
