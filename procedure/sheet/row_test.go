package sheet

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// TestRows holds the fold against the story, written down by hand.
func TestRows(t *testing.T) {
	t.Parallel()
	d := story()
	rows := Rows(d.Shift, d.Entries, loader(d))
	type brief struct {
		Label, Where, Erase string
		Safe                bool
		Files               int
		Bytes               int64
		Operators           string
		Passes, Backs       int
		Holds, Notes        string
		Shuttle             string
		Serial              string
	}
	var got []brief
	for i := range rows {
		r := &rows[i]
		got = append(got, brief{r.Label, r.Where(), r.Erase, r.Safe, r.Files, r.Bytes, strings.Join(r.Operators, "+"), r.Passes, r.Backs,
			strings.Join(r.Holds, "+"), strings.Join(r.Notes, "+"), r.dest("SHUTTLE").Result, r.Serial})
	}
	const ok = "proven, read back from the device"
	want := []brief{
		{"A001", "returned", "not erased", true, 9, 132_000_000_812, "Kim", 1, 0, "", "", ok, "HL-A1001"},
		{"A002", "returned", "erased", true, 3, 12_000_000_000, "Kim", 1, 0, "", "", ok, "HL-A1000"},
		{"A003", "on hold, next is pick", "not erased", false, 0, 0, "Kim", 2, 1, "folder looks empty on RAID", "lens changed", "not counted: copied in an earlier pass", "HL-A1001"},
		{"B001", "green bin", "not erased", true, 9, 132_000_000_812, "Kim+Lee", 1, 0, "", "", ok, "HL-B1001"},
		{"B002", "red bin, next is pick", "not erased", false, 0, 0, "Kim+Lee", 0, 0, "", "card has a scratch", "not copied", ""},
		{"B004", "red bin, next is pick", "not erased", false, 0, 0, "Kim", 0, 0, "", "", "not copied", ""},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("rows (-want +got):\n%s", diff)
	}
	r := rows[1]
	for _, c := range []struct {
		name     string
		from, to time.Time
		atLeast  time.Duration
	}{
		{"arrived to started", r.Came, r.Started, 9 * time.Minute},
		{"started to proven", r.Started, r.Proven, 9 * time.Minute},
		{"proven to green", r.Proven, r.Green, time.Second},
		{"green to erased", r.Green, r.Erased, time.Second},
		{"erased to returned", r.Erased, r.Returned, time.Second},
		{"first to last recording", r.First, r.Last, 20 * time.Minute},
	} {
		if got := c.to.Sub(c.from); got < c.atLeast {
			t.Errorf("A002: %s took %v, want at least %v", c.name, got, c.atLeast)
		}
	}
	if got := r.dest("RAID").listPath(); got != "Harbour_Lights/day012_2031-05-17/A/A002.xxh64" {
		t.Errorf("hash list of A002 = %q", got)
	}
	var kinds []string
	for _, q := range r.Questions {
		kinds = append(kinds, strings.Fields(q)[0]+" "+strings.Fields(q)[1])
	}
	if diff := cmp.Diff([]string{"1 number", "1 file"}, kinds); diff != "" {
		t.Errorf("questions about A002 (-want +got):\n%s", diff)
	}
	if held := rows[2]; !held.Proven.IsZero() || !held.Started.IsZero() || !held.Green.IsZero() {
		t.Errorf("A003 is on hold, and yet has times of this pass: %+v", held)
	}
}

// TestLostProof: a proof that is gone is said in its row, and the rest is there.
func TestLostProof(t *testing.T) {
	t.Parallel()
	d := story()
	delete(d.Proofs, d.Shift.Rolls["A001"].Proof)
	rows := Rows(d.Shift, d.Entries, loader(d))
	if len(rows) != 6 || rows[0].Problem != "the proof could not be read: no such file" || rows[0].Bytes == 0 {
		t.Errorf("row of A001 = %+v", rows[0])
	}
	if rows[1].Problem != "" || rows[1].First.IsZero() {
		t.Errorf("row of A002 = %+v", rows[1])
	}
	for _, r := range Rows(d.Shift, d.Entries, nil) {
		if r.Problem != "" || len(r.Questions) > 0 {
			t.Errorf("proofs were not asked for, and yet %s has %q, %q", r.Label, r.Problem, r.Questions)
		}
	}
}

// TestEqualAcrossDays: a Reader finds files of an earlier day again.
func TestEqualAcrossDays(t *testing.T) {
	t.Parallel()
	one := story()
	two := harbour.Begin(13, "A", "Kim")
	two.SetUp("A", "blue")
	two.Wait(4 * time.Hour)
	two.SetFiles("A004", one.Files("A001")...)
	two.Receive("A004")
	two.Walk("A004")
	rd := NewReader(func(sha string) (*guard.Proof, error) {
		if p := one.Proofs[sha]; p != nil {
			return p, nil
		}
		return two.Proofs[sha], nil
	})
	rd.Rows(one.Shift, one.Entries)
	rows := rd.Rows(two.Shift, two.Entries)
	if got := strings.Join(rows[0].Questions, "\n"); !strings.Contains(got, "8 files stand also on A001") {
		t.Errorf("questions about A004 = %q", got)
	}
}

func TestNoShift(t *testing.T) {
	t.Parallel()
	if rows := Rows(procedure.NewShift(), nil, nil); rows != nil {
		t.Errorf("rows of no shift = %v", rows)
	}
}

func TestTotals(t *testing.T) {
	t.Parallel()
	s := storySheet()
	var got []string
	for _, x := range s.Totals() {
		got = append(got, strings.Join([]string{x.Name(), text(int64(x.Rolls)), text(int64(x.Safe)), text(int64(x.Holds)), text(int64(x.Erased)), text(x.Bytes)}, " "))
	}
	want := []string{
		"day 12, camera A, blue 3 2 1 1 144000000812",
		"day 12, camera B, yellow 3 1 0 0 132000000812",
		"day 12, all cameras 6 3 1 1 276000001624",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("totals (-want +got):\n%s", diff)
	}
	big := many(1000).Totals()
	sum, days := 0, 0
	for _, x := range big {
		if x.Day == 0 {
			continue
		}
		if x.Camera != "" {
			sum += x.Rolls
		} else {
			days += x.Rolls
		}
	}
	if last := big[len(big)-1]; sum != 1000 || days != 1000 || last.Rolls != 1000 || last.Name() != "all days, all cameras" {
		t.Errorf("cameras add up to %d, days to %d, all to %d (%s); want 1000", sum, days, last.Rolls, last.Name())
	}
}

// Every line says whose it is: with several productions, days on two dates and cameras over all days.
func TestTotalsOfSeveral(t *testing.T) {
	t.Parallel()
	row := func(production string, day int, date, camera, colour string) Row {
		return Row{Production: production, Day: day, Date: date, Camera: camera, Colour: colour, Bytes: 10}
	}
	days := []Row{
		row("Harbour", 1, "2031-05-06", "A", "blue"), row("Harbour", 1, "2031-05-07", "A", "blue"), row("Harbour", 1, "2031-05-07", "B", "pink"),
		row("Harbour", 2, "2031-05-08", "A", "blue"), row("Harbour", 2, "2031-05-08", "B", "white"),
	}
	one := []string{
		"day 1, 2031-05-06, camera A, blue 1", "day 1, 2031-05-06, all cameras 1",
		"day 1, 2031-05-07, camera A, blue 1", "day 1, 2031-05-07, camera B, pink 1", "day 1, 2031-05-07, all cameras 2",
		"day 2, camera A, blue 1", "day 2, camera B, white 1", "day 2, all cameras 2",
		"all days, camera A, blue 3", "all days, camera B 2", "all days, all cameras 5",
	}
	var two []string
	for _, l := range one {
		two = append(two, "Harbour, "+l)
	}
	two = append(two, "Quay, day 1, camera A, blue 1", "Quay, day 1, all cameras 1", "all productions, all days, all cameras 6")
	for _, c := range []struct {
		rows []Row
		want []string
	}{{days, one}, {append(days, row("Quay", 1, "2031-05-06", "A", "blue")), two}, {nil, []string{"all days, all cameras 0"}}} {
		var got []string
		for _, x := range (&Sheet{Rows: c.rows}).Totals() {
			got = append(got, x.Name()+" "+text(int64(x.Rolls)))
			if x.Bytes != int64(x.Rolls)*10 {
				t.Errorf("%s: %d rolls, %d bytes", x.Name(), x.Rolls, x.Bytes)
			}
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
}

// A time says its date when that is not the shift's, whatever the day on which the card arrived.
func TestStampsSayTheirDate(t *testing.T) {
	t.Parallel()
	at := func(day, hour int) time.Time { return time.Date(2031, 5, day, hour, 10, 0, 0, time.UTC) }
	want := []stamp{{"arrived", "2031-05-07 01:10:00"}, {"started", "2031-05-07 02:10:00"}}
	if diff := cmp.Diff(want, stamps(&Row{Date: "2031-05-06", Came: at(7, 1), Started: at(7, 2)})); diff != "" {
		t.Errorf("after midnight (-want +got):\n%s", diff)
	}
	want = []stamp{{"arrived", "23:10:00"}, {"started", "2031-05-07 00:10:00"}}
	if diff := cmp.Diff(want, stamps(&Row{Date: "2031-05-06", Came: at(6, 23), Started: at(7, 0)})); diff != "" {
		t.Errorf("over midnight (-want +got):\n%s", diff)
	}
}

func TestQuery(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		q    Query
		want bool
		text string
	}{
		{Query{}, true, "everything"},
		{Query{Day: 12}, true, "day 12"},
		{Query{Day: 11}, false, "day 11"},
		{Query{Station: "A", Production: "Harbour Lights", Day: 12}, true, `production "Harbour Lights", day 12, station "A"`},
		{Query{Station: "B"}, false, `station "B"`},
		{Query{Production: "Harbour"}, false, `production "Harbour"`},
	} {
		if got := c.q.Match("Harbour Lights", 12, "A"); got != c.want {
			t.Errorf("%v matches: %v, want %v", c.q, got, c.want)
		}
		if got := c.q.String(); got != c.text {
			t.Errorf("%+v says %q, want %q", c.q, got, c.text)
		}
	}
}

func TestTitle(t *testing.T) {
	t.Parallel()
	s := storySheet()
	if got := s.Title(); got != "Harbour Lights, day 12, 2031-05-17" {
		t.Errorf("title %q", got)
	}
	if got := many(250).Title(); got != "Harbour Lights, days 1 to 3" {
		t.Errorf("title %q", got)
	}
	if got := (&Sheet{}).Title(); got != "no rolls" {
		t.Errorf("title %q", got)
	}
}

// A pass names only the drives that it touched. Files of earlier passes stand on the others, and the sheet says so: a
// drive that reads "not copied" gets wiped. None of them counts, as in the lock.
func TestDestsOverPasses(t *testing.T) {
	t.Parallel()
	note := func(name string, proven bool, fault string) procedure.CopyNote {
		return procedure.CopyNote{Name: name, Folder: "f/" + name, Proven: proven, Fault: fault}
	}
	proven := func(cs ...procedure.CopyNote) procedure.Event { return procedure.CopyProven{Copies: cs} }
	failed := func(cs ...procedure.CopyNote) procedure.Event { return procedure.CopyFailed{Copies: cs} }
	const (
		earlier = "not counted: copied in an earlier pass"
		none    = "not copied"
	)
	for _, c := range []struct {
		name   string
		events []procedure.Event
		state  procedure.CopyState
		now    []procedure.CopyNote
		want   map[string]string
	}{
		{"nothing", nil, procedure.CopyNone, nil, map[string]string{"RAID": none, "SHUTTLE": none}},
		{"held after a failed second pass on one drive",
			[]procedure.Event{proven(note("RAID", true, ""), note("SHUTTLE", true, "")), failed(note("RAID", false, "gone"))}, procedure.CopyNone, nil,
			map[string]string{"RAID": earlier, "SHUTTLE": earlier}},
		{"held after a second pass that failed before any drive", []procedure.Event{proven(note("RAID", true, ""), note("SHUTTLE", true, "")), failed()},
			procedure.CopyIsFailed, nil, map[string]string{"RAID": earlier, "SHUTTLE": earlier}},
		{"failed just now on one drive", []procedure.Event{proven(note("RAID", true, ""), note("SHUTTLE", true, "")), failed(note("RAID", false, "gone"))},
			procedure.CopyIsFailed, []procedure.CopyNote{note("RAID", false, "gone")}, map[string]string{"RAID": "failed: gone", "SHUTTLE": earlier}},
		{"failed, though one drive was whole", []procedure.Event{failed(note("RAID", true, ""), note("SHUTTLE", false, "gone"))},
			procedure.CopyIsFailed, []procedure.CopyNote{note("RAID", true, ""), note("SHUTTLE", false, "gone")},
			map[string]string{"RAID": "not proven", "SHUTTLE": "failed: gone"}},
		{"a further copy, then held", []procedure.Event{proven(note("RAID", true, ""), note("SHUTTLE", true, "")), procedure.CopyAdded{Copies: []procedure.CopyNote{note("POST", true, "")}}},
			procedure.CopyNone, nil, map[string]string{"RAID": earlier, "SHUTTLE": earlier, "POST": earlier}},
		{"proven now on fewer", []procedure.Event{proven(note("RAID", true, ""), note("POST", true, "")), proven(note("RAID", true, ""), note("SHUTTLE", true, ""))},
			procedure.CopyIsProven, []procedure.CopyNote{note("RAID", true, ""), note("SHUTTLE", true, "")},
			map[string]string{"RAID": "proven", "SHUTTLE": "proven", "POST": earlier}},
	} {
		s := procedure.NewShift()
		s.Dests = []procedure.Destination{{Name: "RAID"}, {Name: "SHUTTLE"}}
		var es []procedure.Entry
		for _, ev := range c.events {
			es = append(es, procedure.Entry{Roll: "A001", Event: ev})
		}
		h := history(es)["A001"]
		if h == nil {
			h = &past{}
		}
		got := map[string]string{}
		for _, d := range dests(s, &procedure.Roll{Label: "A001", Copy: c.state, Copies: c.now}, h) {
			got[d.Name] = d.Result
			if d.Proven != (d.Result == "proven") || (d.List == "A001.xxh64") != (d.Result != none) {
				t.Errorf("%s: %+v", c.name, d)
			}
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
}
