package archive

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/guard/hashes"
	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/procedure/sheet"
	"twobin/procedure/sheet/harbour"
)

// home writes three days of the invented production and one drill into a data folder, proofs included.
func home(t *testing.T) (dir string, days []*harbour.Day) {
	t.Helper()
	dir = t.TempDir()
	for n := 1; n <= 3; n++ {
		d := harbour.Begin(n, "A", "Kim")
		d.SetUp("A", "blue", "B", "yellow")
		d.Wait(4 * time.Hour)
		for _, c := range []procedure.Camera{"A", "B"} {
			for k := 1; k <= 2; k++ {
				l := procedure.MakeLabel(c, (n-1)*2+k)
				d.Receive(l)
				d.Walk(l)
				d.Return(l)
			}
		}
		days = append(days, d)
	}
	drill := harbour.BeginAs(procedure.ShiftOpened{Production: harbour.Production, Day: 1, Date: "2031-05-06", Station: "A", Operator: "Kim", Drill: "first day",
		Policy: procedure.PolicyNote{Destinations: 2}}, time.Date(2031, 5, 9, 8, 0, 0, 0, time.UTC))
	drill.SetUp("A", "blue")
	drill.Receive("A099")
	if err := harbour.Home(dir, append(days[:3:3], drill), "day1.jsonl", "old/day2.jsonl", "day3.jsonl", "drill.jsonl"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "journals", "day1.jsonl.torn-1"), []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir, days
}

func TestOpen(t *testing.T) {
	t.Parallel()
	dir, _ := home(t)
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Journals) != 4 || len(a.Warnings()) != 0 {
		t.Errorf("%d journals, warnings %q; want 4 and none", len(a.Journals), a.Warnings())
	}
	for i, want := range []string{"day1.jsonl", "day2.jsonl", "day3.jsonl", "drill.jsonl"} {
		if got := filepath.Base(a.Journals[i].Path); got != want {
			t.Errorf("journal %d is %s, want %s", i, got, want)
		}
		if r, err := journal.Verify(a.Journals[i].Path); err != nil || !r.Whole || !a.Journals[i].Record.Whole || a.Journals[i].Record.Code != "" {
			t.Errorf("record of %s = %+v, want it whole and not closed (%v)", want, a.Journals[i].Record, err)
		}
	}
	if diff := cmp.Diff([]procedure.Label{"A001", "A002", "A003", "A004", "A005", "A006", "B001", "B002", "B003", "B004", "B005", "B006"}, known(a, harbour.Production)); diff != "" {
		t.Errorf("labels (-want +got):\n%s", diff)
	}
	if got := known(a, "Other"); len(got) != 0 {
		t.Errorf("labels of another production: %v", got)
	}
	if got := a.Doubles(); got != nil {
		t.Errorf("labels used twice: %v", got)
	}
	if _, err := Open(filepath.Join(dir, "nowhere")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a folder that is not there: %v", err)
	}
}

// TestDamaged: each kind of damage is named with its line, and everything before it counts.
func TestDamaged(t *testing.T) {
	t.Parallel()
	whole, _ := home(t)
	raw, err := os.ReadFile(filepath.Join(whole, "journals", "day1.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	lines := bytes.SplitAfter(raw, []byte("\n"))
	// The line with which B001 comes in: before it A001 and A002 are whole.
	at := 0
	for i, l := range lines {
		if bytes.Contains(l, []byte(`"roll.received","roll":"B001"`)) {
			at = i
		}
	}
	if at == 0 {
		t.Fatal("the story has no B001")
	}
	join := func(ls ...[]byte) []byte { return bytes.Join(ls, nil) }
	for _, c := range []struct {
		name, want string
		raw        []byte
		labels     int
	}{
		{"changed", fmt.Sprintf("is damaged: line %d", at+1), join(join(lines[:at]...), bytes.Replace(lines[at], []byte("Robin"), []byte("Rabin"), 1), join(lines[at+1:]...)), 2},
		{"left out", fmt.Sprintf("is damaged: line %d", at+1), join(join(lines[:at]...), join(lines[at+1:]...)), 2},
		{"cut", fmt.Sprintf("ends torn: line %d", at+1), join(join(lines[:at]...), lines[at][:20]), 2},
		{"empty", "is empty", nil, 0},
		{"no journal", "is damaged: line 1", []byte("hello\n"), 0},
	} {
		dir := t.TempDir()
		if err := os.MkdirAll(filepath.Join(dir, "journals"), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "journals", "bad.jsonl"), c.raw, 0o644); err != nil {
			t.Fatal(err)
		}
		d := harbour.Begin(9, "B", "Lee")
		if _, err := d.WriteJournal(filepath.Join(dir, "journals", "good.jsonl")); err != nil {
			t.Fatal(err)
		}
		a, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		w := a.Warnings()
		if len(w) != 1 || !strings.Contains(w[0], "bad.jsonl "+c.want) {
			t.Errorf("%s: warnings %q, want one with %q", c.name, w, c.want)
		}
		if got := len(known(a, harbour.Production)); got != c.labels {
			t.Errorf("%s: %d labels are used, want %d", c.name, got, c.labels)
		}
		if s, err := a.Sheet(sheet.Query{}, time.Now(), "t"); err != nil || len(s.Rows) != c.labels || len(s.Warnings) == 0 {
			t.Errorf("%s: the sheet has %+v, %v", c.name, s, err)
		}
	}
}

// TestSenseless: whole lines that no routine could have written are named, and those before them used.
func TestSenseless(t *testing.T) {
	t.Parallel()
	d := harbour.Begin(1, "A", "Kim")
	d.SetUp("A", "blue")
	d.Receive("A001")
	d.Entries = append(d.Entries, d.Entries[len(d.Entries)-1]) // the same roll comes in twice
	path := filepath.Join(t.TempDir(), "j.jsonl")
	if _, err := d.WriteJournal(path); err != nil {
		t.Fatal(err)
	}
	j := ReadJournal(path)
	if !strings.Contains(j.Trouble, "makes no sense") || !strings.Contains(j.Trouble, "came in already") || len(j.Shift.Order) != 1 {
		t.Errorf("trouble %q, rolls %v", j.Trouble, j.Shift.Order)
	}
}

func TestFind(t *testing.T) {
	t.Parallel()
	dir, days := home(t)
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	file := days[1].Files("A003")[3] // the story's own hash of a clip of the second day
	hash := hashes.Text64(file.Hash)
	for _, c := range []struct {
		words []string
		want  []string
	}{
		{[]string{"a3"}, []string{"A003"}},
		{[]string{"A003"}, []string{"A003"}},
		{[]string{"A003_0004"}, []string{"A003 CLIPS/A003_0004.vid"}},
		{[]string{"a003_0004.VID"}, []string{"A003 CLIPS/A003_0004.vid"}},
		{[]string{"A003", "index"}, []string{"A003 INDEX.TXT"}},
		{[]string{hash}, []string{"A003 " + file.Path}},
		{[]string{strings.ToUpper(hash[:8])}, []string{"A003 " + file.Path}},
		{[]string{"harbour", "B006"}, []string{"B006"}},
		{[]string{"HL-A1001"}, []string{"A001", "A003", "A005"}},
		{[]string{"0004.vid index"}, nil},
		{[]string{"A099"}, nil}, // a drill's
		{[]string{"nothing-like-this"}, nil},
	} {
		f, err := a.Find(c.words, 100)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, h := range f.Hits {
			got = append(got, strings.TrimSpace(h.Label+" "+h.Path))
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("find %q (-want +got):\n%s", c.words, diff)
		}
	}
	f, err := a.Find([]string{".vid"}, 5)
	if err != nil || len(f.Hits) != 5 || f.More != 12*8-5 {
		t.Errorf("find .vid: %d hits and %d more, want 5 and %d", len(f.Hits), f.More, 12*8-5)
	}
	if _, err := a.Find([]string{" "}, 5); err == nil {
		t.Error("no words: no error")
	}
	f, err = a.Find([]string{"A003_0004"}, 5)
	if err != nil {
		t.Fatal(err)
	}
	want := "A003  Harbour Lights, day 2, 2031-05-07, station A: returned\n" +
		"  file CLIPS/A003_0004.vid, 16.0 GB, xxh64 " + hash + "\n" +
		"  on SHUTTLE: Harbour_Lights/day002_2031-05-07/A/A003/CLIPS/A003_0004.vid, proven, read back from the device\n" +
		"  on RAID: Harbour_Lights/day002_2031-05-07/A/A003/CLIPS/A003_0004.vid, proven, read back from the device\n"
	if diff := cmp.Diff(want, f.Text()); diff != "" {
		t.Errorf("text (-want +got):\n%s", diff)
	}
}

// TestFindWithoutProofs: what cannot be searched is said.
func TestFindWithoutProofs(t *testing.T) {
	t.Parallel()
	dir, _ := home(t)
	if err := os.RemoveAll(filepath.Join(dir, "proofs")); err != nil {
		t.Fatal(err)
	}
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	f, err := a.Find([]string{"A003_0004"}, 5)
	if err != nil || len(f.Hits) != 0 || len(f.Warnings) != 12 {
		t.Errorf("%d hits, %d warnings, %v; want none, one a roll", len(f.Hits), len(f.Warnings), err)
	}
	if f, err = a.Find([]string{"A003"}, 5); err != nil || len(f.Hits) != 1 {
		t.Errorf("a label is found without proofs: %+v, %v", f, err)
	}
	s, err := a.Sheet(sheet.Query{Day: 2}, time.Now(), "t")
	if err != nil || len(s.Rows) != 4 || !strings.Contains(strings.Join(s.Warnings, "\n"), "4 proofs could not be read") {
		t.Errorf("sheet without proofs: %+v, %v", s.Warnings, err)
	}
}

func TestCardsAndDrives(t *testing.T) {
	t.Parallel()
	dir, _ := home(t)
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	c, ok := a.Card("hl-a1001")
	var got []string
	for _, r := range c.Rolls {
		got = append(got, fmt.Sprintf("day %d %s", r.Day, r.Label))
	}
	if diff := cmp.Diff([]string{"day 1 A001", "day 2 A003", "day 3 A005"}, got); !ok || diff != "" {
		t.Errorf("history of HL-A1001 (-want +got):\n%s", diff)
	}
	if len(a.Cards()) != 4 {
		t.Errorf("%d cards, want the story's four", len(a.Cards()))
	}
	if _, ok := a.Card("HL-9"); ok {
		t.Error("a card that nobody logged has a history")
	}
	if text := c.Text(); !strings.HasPrefix(text, "card HL-A1001: 3 rolls\n  A001  Harbour Lights, day 1, 2031-05-06 12:00, returned, not erased\n") {
		t.Errorf("text = %q", text)
	}
	ds := a.Drive("shuttle")
	if len(ds) != 1 || len(ds[0].Rolls) != 12 || ds[0].Bytes != 12*132_000_000_812 {
		t.Fatalf("SHUTTLE = %+v", ds)
	}
	if r := ds[0].Rolls[4]; r.Label != "A003" || r.Day != 2 || !r.Proven || r.Folder != "Harbour_Lights/day002_2031-05-07/A/A003" {
		t.Errorf("fifth roll of SHUTTLE = %+v", r)
	}
	if got := a.Drive("uuid:RAID"); len(got) != 1 || got[0].Name != "RAID" {
		t.Errorf("by identity: %+v", got)
	}
	if got := a.Drive("CELLAR"); got != nil {
		t.Errorf("a drive that nobody used: %+v", got)
	}
}

func TestSheet(t *testing.T) {
	t.Parallel()
	dir, _ := home(t)
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s, err := a.Sheet(sheet.Query{}, time.Now(), "t")
	if err != nil || len(s.Rows) != 12 || s.Rows[0].Label != "A001" || s.Rows[11].Day != 3 || len(s.Warnings) != 0 {
		t.Errorf("sheet of all: %d rows, %q, %v", len(s.Rows), s.Warnings, err)
	}
	if _, err = a.Sheet(sheet.Query{Day: 7}, time.Now(), "t"); !errors.Is(err, ErrNothing) ||
		err.Error() != `no shift fits: day 7 was asked for; there is "Harbour Lights" day 1 station "A", "Harbour Lights" day 2 station "A", "Harbour Lights" day 3 station "A"` {
		t.Errorf("a day that is not there: %v", err)
	}
	none, err := Read(t.TempDir(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = none.Sheet(sheet.Query{}, time.Now(), "t"); err == nil || !strings.Contains(err.Error(), "there is no shift at all") {
		t.Errorf("no journals: %v", err)
	}
	if f, err := none.Find([]string{"A001"}, 5); err != nil || f.Text() != "nothing found: there is no shift to look through\n" {
		t.Errorf("find in no journals: %q, %v", f.Text(), err)
	}
}

func TestDoubles(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for i, st := range []string{"A", "B"} {
		d := harbour.Begin(1, st, "Kim")
		d.SetUp("A", "blue")
		d.Receive("A001")
		if _, err := d.WriteJournal(filepath.Join(dir, fmt.Sprintf("%d.jsonl", i))); err != nil {
			t.Fatal(err)
		}
	}
	a, err := Read(dir, func(string) (*guard.Proof, error) { return nil, errors.New("none") })
	if err != nil {
		t.Fatal(err)
	}
	if d := a.Doubles(); len(d) != 1 || d[0].Label != "A001" || len(d[0].Journals) != 2 {
		t.Errorf("labels used twice = %+v", d)
	}
	s, err := a.Sheet(sheet.Query{}, time.Now(), "t")
	if err != nil || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "A001 came in 2 times") {
		t.Errorf("warnings %q, %v", s.Warnings, err)
	}
	if s, err = a.Sheet(sheet.Query{Station: "B"}, time.Now(), "t"); err != nil || len(s.Rows) != 1 {
		t.Errorf("station B: %+v, %v", s, err)
	}
}

// TestEqualFilesOverDays: a file of an earlier day is asked about, whether that day is on the sheet or not; one of
// another production is not.
func TestEqualFilesOverDays(t *testing.T) {
	t.Parallel()
	clip := func(d *harbour.Day, l procedure.Label) {
		d.SetFiles(l, guard.File{Entry: guard.Entry{Path: "CLIPS/one.vid", Size: 5e9, MTime: d.Clock.UnixNano()}, Hash: 42})
		d.Receive(l)
		d.Walk(l)
	}
	var days []*harbour.Day
	for n, l := range []procedure.Label{"A001", "A002"} {
		d := harbour.Begin(n+1, "A", "Kim")
		d.SetUp("A", "blue")
		clip(d, l)
		days = append(days, d)
	}
	other := harbour.BeginAs(procedure.ShiftOpened{Production: "Low Tide", Day: 2, Date: "2031-05-07", Station: "A", Operator: "Kim",
		Policy: procedure.PolicyNote{Destinations: 2}}, days[1].Clock)
	other.SetUp("A", "blue")
	clip(other, "A001")
	dir := t.TempDir()
	if err := harbour.Home(dir, append(days, other), "1.jsonl", "2.jsonl", "3.jsonl"); err != nil {
		t.Fatal(err)
	}
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	const want = "1 file stands also on A001"
	for _, q := range []sheet.Query{{}, {Day: 2}} {
		s, err := a.Sheet(q, time.Now(), "t")
		if err != nil {
			t.Fatal(err)
		}
		for i := range s.Rows {
			r := &s.Rows[i]
			asked := strings.Contains(strings.Join(r.Questions, "\n"), want)
			if asks := r.Label == "A002"; asks != asked {
				t.Errorf("sheet of %s, %s %s asks %q; want the question about A001: %v", q, r.Production, r.Label, r.Questions, asks)
			}
		}
	}
	for _, j := range a.shifts(sheet.Query{Production: harbour.Production, Day: 2}) {
		if rows := a.Before(j.Shift).Rows(j.Shift, j.Entries); !strings.Contains(strings.Join(rows[0].Questions, "\n"), want) {
			t.Errorf("a reader of before the second day asks %q", rows[0].Questions)
		}
	}
}

// known lists every label that a production has used, sorted.
func known(a *Archive, production string) []procedure.Label {
	var out []procedure.Label
	for _, j := range a.shifts(sheet.Query{Production: production}) {
		out = append(out, j.Shift.Order...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// TestOneIsSingular: one roll, one file, one lost proof.
func TestOneIsSingular(t *testing.T) {
	t.Parallel()
	card := Card{Serial: "HL-1", Rolls: []CardRoll{{Label: "A001"}}}
	if got := card.Text(); !strings.HasPrefix(got, "card HL-1: 1 roll\n") {
		t.Errorf("card: %q", got)
	}
	drive := Drive{Name: "RAID", ID: "x", Rolls: []DriveRoll{{Label: "A001", Files: 1}}}
	if got := drive.Text(); !strings.HasPrefix(got, "RAID (x): 1 roll, ") || !strings.Contains(got, ", 1 file, ") {
		t.Errorf("drive: %q", got)
	}
	drive.Rolls = append(drive.Rolls, DriveRoll{Files: 2})
	if got := drive.Text(); !strings.Contains(got, ": 2 rolls, ") || !strings.Contains(got, ", 2 files, ") {
		t.Errorf("drive: %q", got)
	}
	one, two := []sheet.Row{{Problem: "gone"}}, []sheet.Row{{Problem: "gone"}, {Problem: "gone"}}
	for want, rows := range map[string][]sheet.Row{"1 proof could not be read; its roll has": one, "2 proofs could not be read; their rolls have": two} {
		if got := (&Archive{}).WarningsFor("", rows); len(got) != 1 || !strings.HasPrefix(got[0], want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
