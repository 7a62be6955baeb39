package board

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"
	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

var update = flag.Bool("update", false, "write the golden files anew")

// twelve is a day with twelve cameras and a hundred rolls.
func twelve() *harbour.Day {
	colours := []string{"blue", "yellow", "white", "orange", "pink", "purple", "brown", "grey", "black", "cyan", "gold", "lime"}
	var cams []string
	for i, c := range colours {
		cams = append(cams, string(rune('A'+i)), c)
	}
	d := harbour.Begin(12, "A", "Kim")
	d.SetUp(cams...)
	n := 0
	for i := 1; i <= 9; i++ {
		for c := 0; c < 12 && n < 100; c++ {
			l := procedure.MakeLabel(procedure.Camera(rune('A'+c)), i)
			if l == "C004" {
				continue // never comes in
			}
			n++
			d.Receive(l)
			switch {
			case l == "D002":
				d.Add(l, procedure.RollHeld{Reason: "sticker says D003", By: "operator"})
			case i <= 5:
				d.Walk(l)
				d.Return(l)
			case i <= 7:
				d.Walk(l)
			}
		}
	}
	return d
}

// small is a morning with one roll in each place.
func small() *harbour.Day {
	d := harbour.Begin(1, "A", "Kim")
	d.SetUp("A", "blue", "B", "yellow")
	for _, l := range []procedure.Label{"A001", "A002", "B001", "B003", "A003", "A004"} {
		d.Receive(l)
	}
	d.Walk("A001")
	d.Return("A001")
	d.Walk("A002")
	d.Add("B001", procedure.RollHeld{Reason: "no tape on the card", By: "operator"})
	d.Seat("B003")
	d.Copy("B003")
	d.Log("B003", "")
	d.Wait(9 * time.Minute)
	d.Prove("B003")
	d.Pull("B003")
	d.Wait(4 * time.Minute)
	d.Add("B003", procedure.NoteMade{ID: 1, Text: "two takes without slate"})
	d.Add("", procedure.NoteMade{ID: 2, Camera: "A", Text: "clock an hour off"})
	return d
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.ReplaceAll(string(want), "\r\n", "\n"), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

func TestText(t *testing.T) {
	t.Parallel()
	tw, sm := twelve(), small()
	for _, c := range []struct {
		name          string
		board         Board
		width, height int
	}{
		{"twelve_80x24.txt", Of(tw.Shift, tw.Clock), 80, 24},
		{"twelve_132x30.txt", Of(tw.Shift, tw.Clock), 132, 30},
		{"twelve_70x12.txt", Of(tw.Shift, tw.Clock), 70, 12},
		{"small_80x24.txt", Of(sm.Shift, sm.Clock), 80, 24},
		{"too_small.txt", Of(sm.Shift, sm.Clock), 30, 5},
		{"nothing.txt", Of(procedure.NewShift(), sm.Clock), 80, 24},
	} {
		got := c.board.Text(c.width, c.height)
		golden(t, c.name, got)
		checkFrame(t, c.name, got, c.width, c.height)
	}
}

func checkFrame(t *testing.T, name, got string, width, height int) {
	t.Helper()
	lines := strings.Split(strings.TrimSuffix(got, "\n"), "\n")
	if len(lines) > height {
		t.Errorf("%s: %d lines, want at most %d", name, len(lines), height)
	}
	for _, l := range lines {
		if w := ansi.StringWidth(l); w > width {
			t.Errorf("%s: a line of %d columns, want at most %d: %q", name, w, width, l)
		}
		if strings.ContainsFunc(l, func(r rune) bool { return r < 0x20 || r >= 0x7F && r < 0xA0 }) {
			t.Errorf("%s: control character in %q", name, l)
		}
	}
}

// TestEverySize draws the board in every size there may be: no frame is ever larger than its terminal.
func TestEverySize(t *testing.T) {
	t.Parallel()
	d := twelve()
	b := Of(d.Shift, d.Clock)
	for w := 20; w < 180; w += 7 {
		for h := 1; h < 50; h++ {
			checkFrame(t, fmt.Sprintf("%dx%d", w, h), b.Text(w, h), w, h)
		}
	}
}

// TestTextCounts adds up every camera's row: each roll stands in exactly one place, by its number or in a count.
func TestTextCounts(t *testing.T) {
	t.Parallel()
	d := twelve()
	b := Of(d.Shift, d.Clock)
	for _, narrower := range []int{0, 2, 3} {
		total := 0
		for i := range b.Cameras {
			for _, c := range columns() {
				if c.title == "missing" {
					continue
				}
				cell := b.Cameras[i].cell(c, max(7, c.width-narrower))
				n, err := countCell(cell)
				if err != nil {
					t.Fatalf("camera %s, %s: %q: %v", b.Cameras[i].Letter, c.title, cell, err)
				}
				total += n
			}
		}
		if total != 100 {
			t.Errorf("with cells %d narrower the table shows %d rolls, want 100", narrower, total)
		}
	}
}

func countCell(cell string) (int, error) {
	n := 0
	for f := range strings.FieldsSeq(cell) {
		var a, b int
		switch {
		case strings.HasPrefix(f, "+"):
			if _, err := fmt.Sscanf(f, "+%d", &a); err != nil {
				return 0, err
			}
			n += a
		case strings.Contains(f, "-"):
			if _, err := fmt.Sscanf(f, "%d-%d", &a, &b); err != nil {
				return 0, err
			}
			n += b - a + 1
		case f == "rolls":
		default:
			if _, err := fmt.Sscanf(f, "%d", &a); err != nil {
				return 0, err
			}
			if strings.HasSuffix(cell, "rolls") {
				n += a
			} else {
				n++
			}
		}
	}
	return n, nil
}

func TestNumbers(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		nums  []int
		width int
		want  string
	}{
		{nil, 11, ""},
		{[]int{4}, 11, "004"},
		{[]int{4, 5}, 11, "004-005"},
		{[]int{6, 4, 5}, 11, "004-006"},
		{[]int{1, 3, 5}, 11, "001 003 005"},
		{[]int{1, 3, 5, 7}, 11, "001 003 +2"},
		{[]int{1, 3, 5, 7}, 4, "4 r…"},
		{[]int{1, 2, 3, 5}, 7, "4 rolls"},
		{[]int{1, 2, 3}, 7, "001-003"},
		{[]int{999, 1000}, 8, "999-1000"},
	} {
		if got := numbers(c.nums, c.width); got != c.want {
			t.Errorf("numbers(%v, %d) = %q, want %q", c.nums, c.width, got, c.want)
		}
	}
}

func TestLingers(t *testing.T) {
	t.Parallel()
	d := small()
	b := Of(d.Shift, d.Clock)
	var got []string
	for _, l := range b.Lingers {
		got = append(got, l.Label+" "+l.Place)
	}
	// B003 lies on the desk for over three minutes; A003 and A004 have not waited an hour yet.
	if diff := cmp.Diff([]string{"B003 desk", "B001 on hold"}, got); diff != "" {
		t.Errorf("lingers (-want +got):\n%s", diff)
	}
	got = nil
	for _, l := range Of(d.Shift, d.Clock.Add(time.Hour)).Lingers {
		got = append(got, l.Label+" "+l.Place)
	}
	if diff := cmp.Diff([]string{"B003 desk", "A003 red bin", "A004 red bin", "B001 on hold"}, got); diff != "" {
		t.Errorf("an hour later (-want +got):\n%s", diff)
	}
}

// TestLimitIsNotOver: on the limit is not over it.
func TestLimitIsNotOver(t *testing.T) {
	t.Parallel()
	d := harbour.Begin(1, "A", "Kim")
	d.SetUp("A", "blue")
	came := d.Clock
	d.Receive("A001")
	for _, c := range []struct {
		after time.Duration
		want  int
	}{{time.Hour, 0}, {time.Hour + time.Second, 1}} {
		if got := len(Of(d.Shift, came.Add(c.after)).Lingers); got != c.want {
			t.Errorf("after %v %d rolls linger, want %d", c.after, got, c.want)
		}
	}
}

func TestRoom(t *testing.T) {
	t.Parallel()
	d := small()
	b := Of(d.Shift, d.Clock)
	// Three rolls of eight clips, 13 to 20 GB each, and a list of 812 bytes: 132 GB and 812 bytes, three times.
	const usual = 132_000_000_812
	if b.UsualBytes != usual {
		t.Errorf("usual roll = %d, want %d", b.UsualBytes, int64(usual))
	}
	if got, want := b.Drives[0], (Drive{Name: "SHUTTLE", Free: 4e12 - 3*usual, Reckoned: true, Rolls: 27}); got.Free != want.Free || got.Rolls != want.Rolls || !got.Reckoned || got.Short {
		t.Errorf("SHUTTLE = %+v, want %+v", got, want)
	}
	span := d.Clock.Sub(d.Shift.Rolls["A001"].Came.Wall)
	rate := float64(3*usual) / span.Hours()
	if got := float64(b.HourBytes); got < rate*0.999 || got > rate*1.001 {
		t.Errorf("rate = %.0f bytes an hour, want %.0f", got, rate)
	}
	if got, want := b.Drives[0].Hours, float64(b.Drives[0].Free)/rate; got < want*0.999 || got > want*1.001 {
		t.Errorf("hours left = %f, want %f", got, want)
	}
	now := b.WithFree(map[string]int64{"SHUTTLE": 2*usual + 5, "OTHER": 1})
	if got := now.Drives[0]; got.Free != 2*usual+5 || got.Reckoned || got.Rolls != 2 || !got.Short {
		t.Errorf("with its real room SHUTTLE = %+v, want 2 rolls and too little for the three that wait", got)
	}
	if b.Drives[0].Rolls != 27 {
		t.Error("WithFree changed the board it was called on")
	}
}

// TestRateNeedsTime: after a few minutes a rate by the hour would be made up.
func TestRateNeedsTime(t *testing.T) {
	t.Parallel()
	d := harbour.Begin(1, "A", "Kim")
	d.SetUp("A", "blue")
	d.Receive("A001")
	d.Walk("A001")
	b := Of(d.Shift, d.Clock)
	if b.HourBytes != 0 || b.Drives[0].Hours != -1 {
		t.Errorf("after nine minutes: rate %d, hours %f, want none", b.HourBytes, b.Drives[0].Hours)
	}
}

// TestNowNeverBack: a wall clock that is behind the journal does not make spans negative (invariant 11).
func TestNowNeverBack(t *testing.T) {
	t.Parallel()
	d := small()
	b := Of(d.Shift, d.Clock.Add(-3*time.Hour))
	for _, c := range b.Cameras {
		for _, r := range c.Rolls {
			if r.ForMS < 0 {
				t.Errorf("%s has been there for %d ms", r.Label, r.ForMS)
			}
		}
	}
	if at := Now(d.Shift, d.Clock.Add(-3*time.Hour)); at.Mono != d.Shift.Last.Mono {
		t.Errorf("with a wall clock behind the journal the monotonic clock went from %v to %v", d.Shift.Last.Mono, at.Mono)
	}
	at := Now(d.Shift, d.Shift.Last.Wall.Add(5*time.Second))
	if got := at.Mono - d.Shift.Last.Mono; got != 5*time.Second {
		t.Errorf("five seconds after the last event the monotonic clock is %v on", got)
	}
}

func TestOddText(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 5, 6, 8, 0, 0, 0, time.UTC)
	d := harbour.BeginAs(procedure.ShiftOpened{Production: "Har\x1b[31mbour\u202e 灯", Day: 1, Date: "2031-05-06", Station: "\n", Operator: "K\x00im", Drill: "dr\till",
		Policy: procedure.PolicyNote{Destinations: 2}}, at)
	d.SetUp("A", "light\x07blue")
	d.Receive("A001")
	d.Add("A001", procedure.RollHeld{Reason: "\x1b]0;title\x07", By: "operator"})
	d.Add("", procedure.NoteMade{ID: 1, Text: "a\r\nb"})
	got := Of(d.Shift, d.Clock).Text(80, 24)
	checkFrame(t, "odd text", got, 80, 24)
	if !strings.HasPrefix(got, "DRILL ") {
		t.Errorf("a drill's board does not begin with DRILL: %q", got)
	}
}

func TestJSON(t *testing.T) {
	t.Parallel()
	d := small()
	b, err := json.Marshal(Of(d.Shift, d.Clock))
	if err != nil {
		t.Fatal(err)
	}
	var back struct {
		Production string
		Cameras    []struct {
			Camera  string
			Missing []int
			Rolls   []struct{ Label, Place string }
		}
		Drives []struct {
			Name      string
			RollsLeft int `json:"rolls_left"`
		}
		Totals struct{ Rolls, Missing int }
	}
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if back.Production != "Harbour Lights" || back.Totals.Rolls != 6 || back.Totals.Missing != 1 || len(back.Cameras) != 2 ||
		back.Cameras[1].Missing[0] != 2 || back.Cameras[1].Rolls[1].Place != "desk" || back.Drives[0].RollsLeft != 27 {
		t.Errorf("JSON = %s", b)
	}
	empty, err := json.Marshal(Of(procedure.NewShift(), d.Clock))
	if err != nil || strings.Contains(string(empty), "null") {
		t.Errorf("JSON of no shift = %s, %v; lists must be lists", empty, err)
	}
}

// TestCamerasComeFirst: however much lingers, twelve cameras are all there in 80x24, with the drives and the notes.
func TestCamerasComeFirst(t *testing.T) {
	t.Parallel()
	b := Board{Cameras: make([]Camera, 12), Drives: []Drive{{Name: "SHUTTLE", Free: -1, Rolls: -1, Hours: -1}, {Name: "RAID", Free: -1, Rolls: -1, Hours: -1}}}
	for i := range b.Cameras {
		b.Cameras[i] = Camera{Letter: string(rune('A' + i)), Colour: "blue"}
	}
	for range 60 {
		b.Lingers = append(b.Lingers, Linger{Label: "A001", Place: "green bin", ForMS: 1, LimitMS: 1})
	}
	b.Notes = []Note{{ID: 1, Text: "a note"}}
	text := b.Text(80, 24)
	for _, want := range []string{"\nA blue", "\nL blue", "and 5", "SHUTTLE", "RAID", "1 a note"} {
		if !strings.Contains(text, want) {
			t.Errorf("the board lacks %q:\n%s", want, text)
		}
	}
	if n := strings.Count(text, "\n"); n > 24 {
		t.Errorf("%d lines, 24 are there", n)
	}
}

// TestOpenPointsAreTold: a shift that was closed with open points says so on its board, with each of them.
func TestOpenPointsAreTold(t *testing.T) {
	t.Parallel()
	b := Board{Production: "Harbour Lights", Closed: true, OpenAtEnd: []string{"A004 is in the red bin", "book lines do not match"}}
	text := b.Text(80, 24)
	for _, want := range []string{"closed  Harbour Lights", "\nleft open A004 is in the red bin\n", "book lines do not match"} {
		if !strings.Contains(text, want) {
			t.Errorf("the board lacks %q:\n%s", want, text)
		}
	}
	b.OpenAtEnd = nil
	if text := b.Text(80, 24); strings.Contains(text, "left open") {
		t.Errorf("nothing was left open:\n%s", text)
	}
}
