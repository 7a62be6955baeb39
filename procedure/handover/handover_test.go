package handover

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/guard/hashes"
	"twobin/guard/manifest"
	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/procedure/sheet"
	"twobin/procedure/sheet/harbour"
)

// day is a shift with a safe roll on each camera, one on hold after it was proven, one left in the red bin, one missing.
func day() *harbour.Day {
	d := harbour.Begin(12, "A", "Kim")
	d.SetUp("A", "blue", "B", "yellow")
	d.Wait(4 * time.Hour)
	for _, l := range []procedure.Label{"A001", "A002", "B001", "B003"} {
		d.Receive(l)
	}
	d.Add("", procedure.GapAsked{Missing: []procedure.Label{"B002"}, Answer: "still in the camera"})
	d.Walk("A001")
	d.Seat("A002")
	d.Copy("A002")
	d.Log("A002", "")
	d.Wait(9 * time.Minute)
	d.Prove("A002")
	d.Add("A002", procedure.RollHeld{Reason: "folder looks empty on RAID", By: "operator"})
	d.Walk("B001")
	d.Return("B001")
	d.Add("B001", procedure.NoteMade{ID: 1, Text: "scratch on the card"})
	d.Add("", procedure.NoteMade{ID: 2, Camera: "A", Text: "clock an hour off"})
	d.Add("", procedure.NoteDone{ID: 2})
	return d
}

func doc(t *testing.T, d *harbour.Day) Doc {
	t.Helper()
	path := filepath.Join(t.TempDir(), "j.jsonl")
	if _, err := d.WriteJournal(path); err != nil {
		t.Fatal(err)
	}
	lines, damage, err := journal.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return Of(d.Shift, d.Entries, rows(d), RecordOf(lines, damage), d.Clock, "twobin 1.2.3")
}

func rows(d *harbour.Day) []sheet.Row {
	return sheet.Rows(d.Shift, d.Entries, func(sha string) (*guard.Proof, error) { return d.Proofs[sha], nil })
}

func TestOf(t *testing.T) {
	t.Parallel()
	d := day()
	d.Close()
	h := doc(t, d)
	want := []string{
		"A002 is on hold: folder looks empty on RAID",
		"B003 is not done: red bin, next is pick",
		"B002 has not come in",
	}
	if diff := cmp.Diff(want, h.Open); diff != "" {
		t.Errorf("open points (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]Unsafe{
		{"A002", "on hold, next is pick", "on hold: folder looks empty on RAID"}, {"B003", "red bin, next is pick", "not copied"},
	}, h.Unsafe); diff != "" {
		t.Errorf("not safe (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]Missing{{"B002", "still in the camera"}}, h.Missing); diff != "" {
		t.Errorf("missing (-want +got):\n%s", diff)
	}
	if len(h.Holds) != 1 || !h.Holds[0].Open || h.Holds[0].Label != "A002" || h.Holds[0].By != "operator" {
		t.Errorf("holds = %+v", h.Holds)
	}
	if len(h.Notes) != 2 || h.Notes[0].On != "B001" || h.Notes[0].Done || h.Notes[1].On != "A" || !h.Notes[1].Done {
		t.Errorf("notes = %+v", h.Notes)
	}
	if len(h.Drives) != 2 {
		t.Fatalf("drives = %+v", h.Drives)
	}
	k := h.Drives[0]
	if k.Name != "SHUTTLE" || k.ID != "uuid:SHUTTLE" || len(k.Rolls) != 3 || k.NotProven != 1 || k.Files != 18 || k.Bytes != 2*132_000_000_812 {
		t.Errorf("SHUTTLE = %+v", k)
	}
	if h.Rolls != 4 || h.Safe != 2 || !h.Closed || !h.Tapes.Done || h.Tapes.Want != 2 {
		t.Errorf("%d of %d safe, closed %v, tapes %v", h.Safe, h.Rolls, h.Closed, h.Tapes)
	}
	if k.Last != "the copies of 2 rolls stand there, every file by its name and size" {
		t.Errorf("last look at SHUTTLE: %q", k.Last)
	}
	if len(h.Code) != 14 {
		t.Errorf("closing code %q", h.Code)
	}
}

// TestLastLook: a copy that the last look found amiss counts no more, on the drive, its label and among the safe rolls;
// a drive that was not seen is said to be so. Both stand at the top.
func TestLastLook(t *testing.T) {
	t.Parallel()
	d := day()
	d.Add("", procedure.CloseBegan{})
	d.Add("", procedure.CopiesLooked{Rolls: 2, Dests: []procedure.StandNote{
		{Dest: "SHUTTLE", Seen: true, Rolls: 1, Points: []procedure.StandPoint{{Roll: "A001", Why: "8 of 9 files at their size"}}},
		{Dest: "RAID", Why: "not mounted"},
	}})
	d.Add("", procedure.ShiftClosed{Open: d.Shift.Points()})
	h := doc(t, d)
	top := strings.Join(h.Open, "\n")
	for _, want := range []string{"on SHUTTLE, A001: 8 of 9 files at their size", "RAID was not seen at the last look: not mounted"} {
		if !strings.Contains(top, want) {
			t.Errorf("the open points lack %q:\n%s", want, top)
		}
	}
	shuttle, raid := h.Drives[0], h.Drives[1]
	if shuttle.Rolls[0].Proven || shuttle.NotProven != 2 || shuttle.Files != 9 || !strings.Contains(shuttle.Rolls[0].Result, "at the close: 8 of 9") {
		t.Errorf("SHUTTLE = %+v", shuttle)
	}
	if raid.Last != "not seen: not mounted; what counts here is what the journal has" || raid.NotProven != 1 {
		t.Errorf("RAID = %+v", raid)
	}
	if h.Safe != 1 || h.Unsafe[0].Label != "A001" || !strings.Contains(h.Unsafe[0].Why, "at the close on SHUTTLE") {
		t.Errorf("%d safe, not safe %+v", h.Safe, h.Unsafe)
	}
	if label := h.Labels()[0]; !strings.Contains(label, "do not use: A001-A002\n") {
		t.Errorf("label of SHUTTLE:\n%s", label)
	}
}

// TestCounts: a count of none is a count; what was counted before the close was left is none.
func TestCounts(t *testing.T) {
	t.Parallel()
	const none = "not counted; the journal has 2"
	wrong := procedure.TapesCounted{Want: 2}
	for _, c := range []struct {
		name   string
		events []procedure.Event
		want   string
	}{
		{"not closed", nil, none},
		{"begun", []procedure.Event{procedure.CloseBegan{}}, none},
		{"no tapes", []procedure.Event{procedure.CloseBegan{}, wrong}, "0 counted, the journal has 2"},
		{"right", []procedure.Event{procedure.CloseBegan{}, wrong, procedure.TapesCounted{Counted: 2, Want: 2, Right: true}}, "2 counted, as many as the journal has"},
		{"left", []procedure.Event{procedure.CloseBegan{}, procedure.TapesCounted{Counted: 3, Want: 2}, procedure.CloseLeft{}}, none},
	} {
		d := day()
		for _, ev := range c.events {
			d.Add("", ev)
		}
		if got := doc(t, d).Tapes.String(); got != c.want {
			t.Errorf("%s: tapes %q, want %q", c.name, got, c.want)
		}
	}
}

// TestDriveNotSeen: a drive that the last look did not see, or that was dropped before, says so in its section, on its label
// and beside the number of safe rolls; the other one does not.
func TestDriveNotSeen(t *testing.T) {
	t.Parallel()
	looked := procedure.CopiesLooked{Rolls: 2, Dests: []procedure.StandNote{{Dest: "SHUTTLE", Seen: true, Rolls: 2}, {Dest: "RAID", Why: "not mounted"}}}
	one := procedure.CopiesLooked{Rolls: 2, Dests: looked.Dests[:1]}
	for _, c := range []struct {
		name   string
		events []procedure.Event
		shut   bool // the other drive was not seen either
		last   string
		label  string
	}{
		{"not seen", []procedure.Event{procedure.CloseBegan{}, looked}, false, "not seen: not mounted; what counts here", "not seen at close: by the journal"},
		{"dropped", []procedure.Event{procedure.DestinationDropped{Dest: "RAID"}, procedure.CloseBegan{}, one}, false, "not looked at, it was dropped", "dropped in the day, not looked at"},
		{"not asked for", []procedure.Event{procedure.CloseBegan{}, one}, false, "not looked at; what counts", "no look at close: by the journal"},
		{"not closed", nil, true, "", "shift not closed: by the journal"},
	} {
		d := day()
		for _, ev := range c.events {
			d.Add("", ev)
		}
		if c.events != nil {
			d.Add("", procedure.ShiftClosed{Open: append(d.Shift.Points(), "as the test wants it")})
		}
		h := doc(t, d)
		labels := h.Labels()
		if got := h.Drives[1].Last; !strings.HasPrefix(got, c.last) || (got == "") != (c.last == "") {
			t.Errorf("%s: RAID: at the close %q, want %q", c.name, got, c.last)
		}
		if !strings.Contains(labels[1], "\n"+c.label+"\n") {
			t.Errorf("%s: the label lacks %q:\n%s", c.name, c.label, labels[1])
		}
		if got := h.Drives[0].Doubt != ""; got != c.shut || strings.Contains(labels[0], "journal") != c.shut {
			t.Errorf("%s: SHUTTLE was seen, and is said not to be:\n%s", c.name, labels[0])
		}
		if got, want := strings.HasSuffix(h.SafeText(), "by the journal: RAID."), c.last != ""; got != want {
			t.Errorf("%s: beside the safe rolls: %q", c.name, h.SafeText())
		}
	}
}

// TestManyCopiesGone: with thirty copies gone from a drive at the last look none of them is handed over as proven, also by
// a journal of before, which named twenty and gave the number of the rest.
func TestManyCopiesGone(t *testing.T) {
	t.Parallel()
	const rolls = 30
	var named []procedure.StandPoint
	for n := 1; n <= rolls; n++ {
		named = append(named, procedure.StandPoint{Roll: procedure.MakeLabel("A", n), Why: "0 of 9 files at their size"})
	}
	for name, note := range map[string]procedure.StandNote{
		"all named":     {Dest: "SHUTTLE", Seen: true, Points: named},
		"twenty, older": {Dest: "SHUTTLE", Seen: true, Points: named[:20], More: 10},
	} {
		d := harbour.Begin(1, "A", "Kim")
		d.SetUp("A", "blue")
		for n := 1; n <= rolls; n++ {
			d.Receive(procedure.MakeLabel("A", n))
			d.Walk(procedure.MakeLabel("A", n))
		}
		d.Add("", procedure.CloseBegan{})
		d.Add("", procedure.CopiesLooked{Rolls: rolls, Dests: []procedure.StandNote{note, {Dest: "RAID", Seen: true, Rolls: rolls}}})
		d.Add("", procedure.ShiftClosed{Open: d.Shift.Points()})
		h := doc(t, d)
		if k := h.Drives[0]; k.Files != 0 || k.Bytes != 0 || k.NotProven != rolls || h.Safe != 0 || len(h.Unsafe) != rolls {
			t.Errorf("%s: SHUTTLE has %d files, %d rolls that do not count; %d safe, %d not", name, k.Files, k.NotProven, h.Safe, len(h.Unsafe))
		}
		if k := h.Drives[1]; k.NotProven != 0 || k.Files != 9*rolls {
			t.Errorf("%s: RAID has %d files, %d rolls that do not count", name, k.Files, k.NotProven)
		}
		if label := h.Labels()[0]; !strings.Contains(label, "0 rolls proven") || !strings.Contains(label, "do not use: A001-A030\n") {
			t.Errorf("%s: label of SHUTTLE:\n%s", name, label)
		}
	}
}

// TestClosingCode: it is the code that was shown at the close, also after it was read back from the book.
func TestClosingCode(t *testing.T) {
	t.Parallel()
	d := day()
	d.Close()
	path := filepath.Join(t.TempDir(), "j.jsonl")
	shown, err := d.WriteJournal(path)
	if err != nil {
		t.Fatal(err)
	}
	d.Add("", procedure.CodeRead{Right: true})
	h := doc(t, d)
	// Two journals of one story differ in the process that wrote them, so the code is compared within this one.
	j, lines, err := journal.Open(path, journal.Options{Station: "A"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err = j.Append(context.Background(), journal.Line{Event: "code.read", Data: []byte(`{"right":true}`)}); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	all, damage, err := journal.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := RecordOf(all, damage); got.Code != shown || !got.Whole || journal.CodeOf(lines[len(lines)-1]) == shown {
		t.Errorf("after more lines the closing code is %q, want %q", got.Code, shown)
	}
	if !h.CodeRead {
		t.Error("the code was read back, and the hand-over does not say so")
	}
}

func TestNotClosed(t *testing.T) {
	t.Parallel()
	h := doc(t, day())
	if h.Open[0] != "the shift is not closed" || h.Code != "" {
		t.Errorf("open = %q, code %q", h.Open, h.Code)
	}
	d := day()
	h = Of(d.Shift, d.Entries, rows(d), Record{Trouble: "line 9 (byte 1): x"}, d.Clock, "t")
	if last := h.Open[len(h.Open)-1]; last != "the journal is not whole: line 9 (byte 1): x" {
		t.Errorf("open = %q", h.Open)
	}
	empty := Of(procedure.NewShift(), nil, nil, Record{}, d.Clock, "t")
	if len(empty.Open) != 2 || empty.Open[0] != "no shift was opened in this journal" {
		t.Errorf("without a shift open = %q", empty.Open)
	}
}

// TestClean: a day that adds up says so, and lists nothing.
func TestClean(t *testing.T) {
	t.Parallel()
	d := harbour.Begin(1, "A", "Kim")
	d.SetUp("A", "blue")
	d.Wait(4 * time.Hour)
	d.Receive("A001")
	d.Walk("A001")
	d.Close()
	h := doc(t, d)
	if len(h.Open)+len(h.Unsafe)+len(h.Missing)+len(h.Holds)+len(h.Ask) != 0 {
		t.Errorf("a clean day has %+v", h)
	}
	var b bytes.Buffer
	if err := h.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Everything adds up", h.Code, "Safe are 1 of 1 roll:", "1 roll, 9 proven files, 132.0 GB proven."} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// TestAfterMidnight: a hold and a note after midnight have their day, those before have the time alone.
func TestAfterMidnight(t *testing.T) {
	t.Parallel()
	d := day()
	d.Wait(24 * time.Hour)
	d.Add("", procedure.NoteMade{ID: 3, Text: "late"})
	d.Add("B003", procedure.RollHeld{Reason: "no tape", By: "operator"})
	h := doc(t, d)
	next := d.Clock.Format(time.DateOnly) + " "
	if next == h.Date+" " || len(h.Notes) != 3 || len(h.Holds) != 2 {
		t.Fatalf("it is %q on day %q, notes %+v, holds %+v", next, h.Date, h.Notes, h.Holds)
	}
	for _, at := range []string{h.Notes[0].At, h.Holds[0].At} {
		if len(at) != len("15:04") {
			t.Errorf("on the day: %q", at)
		}
	}
	for _, at := range []string{h.Notes[2].At, h.Holds[1].At} {
		if !strings.HasPrefix(at, next) || len(at) != len("2006-01-02 15:04") {
			t.Errorf("the day after: %q, want %q and the time", at, next)
		}
	}
}

// TestVerifyCommands runs the commands of the page with the xxhsum program: on a whole drive they succeed, with one
// bit changed they fail.
func TestVerifyCommands(t *testing.T) {
	t.Parallel()
	harbour.Tool(t, "xxhsum")
	d := day()
	h := doc(t, d)
	drive := t.TempDir()
	for _, r := range h.Drives[0].Rolls {
		if !r.Proven {
			continue
		}
		dir := filepath.Join(drive, filepath.FromSlash(r.Folder))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		var fs []guard.File
		for _, name := range []string{"one.vid", "two words.vid"} {
			data := []byte(r.Label + name)
			if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
				t.Fatal(err)
			}
			x, err := hashes.New(hashes.XXH64)
			if err != nil {
				t.Fatal(err)
			}
			x.Write(data)
			sum, err := hashes.Parse64(hashes.Text(hashes.XXH64, x.Sum(nil)))
			if err != nil {
				t.Fatal(err)
			}
			fs = append(fs, guard.File{Entry: guard.Entry{Path: name, Size: int64(len(data))}, Hash: sum})
		}
		if err := sheet.Create(filepath.Join(filepath.Dir(dir), r.List), func(w io.Writer) error { return manifest.WriteList(w, r.Label, fs) }); err != nil {
			t.Fatal(err)
		}
	}
	var commands []string
	for _, l := range h.Drives[0].Verify() {
		if c, ok := strings.CutPrefix(l, "    "); ok {
			commands = append(commands, c)
		}
	}
	if len(commands) != 2 {
		t.Fatalf("commands = %q, want one for each camera's folder", commands)
	}
	run := func(c string) (string, error) {
		cmd := exec.CommandContext(t.Context(), "sh", "-c", c)
		cmd.Dir = drive
		b, err := cmd.CombinedOutput()
		return string(b), err
	}
	for _, c := range commands {
		if out, err := run(c); err != nil || strings.Count(out, "OK") < 2 {
			t.Errorf("%s: %v\n%s", c, err, out)
		}
	}
	bad := filepath.Join(drive, "Harbour_Lights", "day012_2031-05-17", "A", "A001", "one.vid")
	if err := os.WriteFile(bad, []byte("A001One.vid"), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := run(commands[0]); err == nil {
		t.Errorf("a changed file was not found:\n%s", out)
	}
}

func TestQuote(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"a/b", "with space", "it's", "$(x)", "-rf", "a;b", "ü"} {
		out, err := exec.CommandContext(t.Context(), "sh", "-c", "printf %s "+quote(s)).Output()
		if err != nil {
			t.Skipf("needs sh: %v", err)
		}
		if string(out) != s {
			t.Errorf("quote(%q) = %s, which a shell reads as %q", s, quote(s), out)
		}
	}
}

func TestLabels(t *testing.T) {
	t.Parallel()
	d := day()
	d.Close()
	h := doc(t, d)
	h.Code = "0123-4568-9ACE"
	got := h.Labels()
	want := "Harbour Lights\nSHUTTLE\nday 12  2031-05-17  station A\nA001 B001\n2 rolls proven, 264.0 GB\ndo not use: A002\ncode 0123-4568-9ACE\n"
	if len(got) != 2 {
		t.Fatalf("%d labels", len(got))
	}
	one := Drive{Rolls: []Line{{Label: "A001", Proven: true}}}
	if label := h.label(&one); !strings.Contains(label, "\n1 roll proven, 0 B\n") {
		t.Errorf("label of one roll:\n%s", label)
	}
	if diff := cmp.Diff(want, got[0]); diff != "" {
		t.Errorf("label (-want +got):\n%s", diff)
	}
	// A drive with very many rolls: the label stays small and says how many ranges had no room.
	h.Drill = "long day"
	k := Drive{Name: strings.Repeat("LONG", 20), Doubt: "not seen at close: by the journal"}
	for n := 1; n < 400; n += 2 {
		k.Rolls = append(k.Rolls, Line{Label: string(procedure.MakeLabel("AB", n)), Proven: n%3 > 0})
	}
	lines := strings.Split(strings.TrimSuffix(h.label(&k), "\n"), "\n")
	if len(lines) > 10 {
		t.Errorf("%d lines:\n%s", len(lines), strings.Join(lines, "\n"))
	}
	for _, l := range lines {
		if len([]rune(l)) > labelWidth {
			t.Errorf("line of %d: %q", len([]rune(l)), l)
		}
	}
	if !strings.Contains(strings.Join(lines, "\n"), "more") {
		t.Errorf("nothing says that rolls are left out:\n%s", strings.Join(lines, "\n"))
	}
}

func nasty(t *testing.T) Doc {
	t.Helper()
	at := time.Date(2031, 5, 6, 8, 0, 0, 0, time.UTC)
	bad := `<script>document.title="canary"</script><img src="http://canary.invalid/x">` + "\x1b[31m\u202e灯{{.}}"
	d := harbour.BeginAs(procedure.ShiftOpened{Production: bad, Day: 1, Date: "2031-05-06", Station: bad, Operator: bad,
		Policy: procedure.PolicyNote{Destinations: 2}}, at)
	d.SetUp("A", "blue"+bad)
	d.Wait(4 * time.Hour)
	d.SetFiles("A001", harbour.File("A001", bad+".vid", 0, at))
	d.Receive("A001")
	d.Walk("A001")
	d.Receive("A002")
	d.Add("A002", procedure.RollHeld{Reason: bad, By: bad})
	d.Add("", procedure.NoteMade{ID: 1, Text: bad})
	d.Add("", procedure.GapAsked{Missing: []procedure.Label{"A003"}, Answer: bad})
	d.Close()
	return doc(t, d)
}

func TestHTML(t *testing.T) {
	t.Parallel()
	h := nasty(t)
	var b bytes.Buffer
	if err := h.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"<script", "<img", "ZgotmplZ", "\x1b", "\u202e", "<no value>"} {
		if strings.Contains(b.String(), bad) {
			t.Errorf("the page has %q", bad)
		}
	}
	for _, l := range h.Labels() {
		for line := range strings.SplitSeq(strings.TrimSuffix(l, "\n"), "\n") {
			if line != procedure.Plain(line) {
				t.Errorf("label line %q", line)
			}
		}
	}
}

// TestHTMLInBrowser: in a real browser nothing of the nasty page runs or is asked for, open points stand before
// everything else, and a hand-over fits A4 and Letter.
func TestHTMLInBrowser(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	page := filepath.Join(dir, "nasty.html")
	if err := sheet.Create(page, nasty(t).WriteHTML); err != nil {
		t.Fatal(err)
	}
	dom, asked := harbour.Browser(t, page, "--dump-dom")
	if strings.Contains(strings.Join(asked, "\n"), "canary") || strings.Contains(dom, "<title>canary") || !strings.Contains(dom, "Closing code") {
		t.Errorf("the page asked for %q, or is not there", asked)
	}
	d := day()
	d.Close()
	var b bytes.Buffer
	if err := doc(t, d).WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	for _, paper := range []string{"A4", "letter"} {
		page, pdf := filepath.Join(dir, paper+".html"), filepath.Join(dir, paper+".pdf")
		if err := os.WriteFile(page, []byte(strings.Replace(b.String(), "@page { ", "@page { size: "+paper+"; ", 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		harbour.Browser(t, page, "--no-pdf-header-footer", "--print-to-pdf="+pdf)
		pages := harbour.PDFText(t, pdf)
		if len(pages) > 4 {
			t.Errorf("%s: %d pages for four rolls", paper, len(pages))
		}
		top, _, _ := strings.Cut(pages[0], "Drive SHUTTLE")
		for _, want := range []string{"Open points", "A002 is on hold", "B002 has not come in"} {
			if !strings.Contains(top, want) {
				t.Errorf("%s: before the drives there is no %q:\n%s", paper, want, top)
			}
		}
		if last := pages[len(pages)-1]; !strings.Contains(last, "received by") {
			t.Errorf("%s: no line to sign on the last page", paper)
		}
	}
}

func TestWrite(t *testing.T) {
	t.Parallel()
	d := day()
	h := doc(t, d)
	s := &sheet.Sheet{Made: d.Clock, Rows: rows(d)}
	dir := filepath.Join(t.TempDir(), "a", "b")
	pdf := func(w io.Writer, d Doc) error { _, err := io.WriteString(w, "%PDF "+d.Production); return err }
	got, err := Write(dir, h, s, pdf)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, g := range got {
		names = append(names, filepath.Base(g))
	}
	const base = "Harbour_Lights_day012_A_"
	want := []string{base + "handover.html", base + "handover.pdf", base + "drive-labels.txt", base + "sheet.csv", base + "sheet.xlsx", base + "sheet.html"}
	if diff := cmp.Diff(want, names); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	if err := os.Remove(got[0]); err != nil {
		t.Fatal(err)
	}
	if again, err := Write(dir, h, s, pdf); !errors.Is(err, fs.ErrExist) || len(again) != 0 || strings.Count(err.Error(), "nothing was written") != 1 {
		t.Errorf("over files that are there: %q, %v", again, err)
	}
	if _, err := os.Lstat(got[0]); !errors.Is(err, fs.ErrNotExist) {
		t.Error("a refused hand-over wrote a file")
	}
	if got, err = Write(t.TempDir(), h, s, nil); err != nil || len(got) != 5 {
		t.Errorf("without PDF: %q, %v", got, err)
	}
	full := errors.New("no space left on device")
	got, err = Write(t.TempDir(), h, s, func(io.Writer, Doc) error { return full })
	if !errors.Is(err, full) || len(got) != 5 || strings.Contains(strings.Join(got, " "), ".pdf") {
		t.Errorf("on a full disk: %q, %v", got, err)
	}
}
