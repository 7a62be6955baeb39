package clips

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

var (
	began = time.Date(2031, 5, 6, 8, 0, 0, 0, time.FixedZone("", 7200))
	came  = began.Add(3 * time.Hour)
	facts = Facts{Began: began, Came: came, Cameras: []procedure.Camera{"A", "B", "C"}}
)

// card makes a listing of paths, all of one size and recorded an hour before the card came in. "path=0" sets a size.
func card(paths ...string) guard.Listing {
	var l guard.Listing
	for _, p := range paths {
		e := guard.Entry{Path: p, Size: 1 << 30, MTime: came.Add(-time.Hour).UnixNano()}
		if name, ok := strings.CutSuffix(p, "=0"); ok {
			e.Path, e.Size = name, 0
		}
		l.Files = append(l.Files, e)
	}
	return l
}

// seq makes names from a format, for the numbers from first to last without those left out.
func seq(format string, first, last int, without ...int) []string {
	var out []string
	for n := first; n <= last; n++ {
		skip := false
		for _, w := range without {
			skip = skip || w == n
		}
		if !skip {
			out = append(out, fmt.Sprintf(format, n))
		}
	}
	return out
}

func texts(qs []Question) []string {
	var out []string
	for _, q := range qs {
		out = append(out, q.Kind.String()+": "+q.Text)
	}
	return out
}

func TestListing(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		files []string
		want  []string
	}{
		{"whole", seq("CLIPS/A003_%04d.vid", 1, 9), nil},
		{"one gap", seq("CLIPS/A003_%04d.vid", 1, 9, 4), []string{
			"gap: 1 number is not there in CLIPS/A003_####, between 0001 and 0009: deleted in the camera? (0004)"}},
		{"runs of gaps", seq("CLIPS/A003_%04d.vid", 1, 12, 2, 4, 5, 8), []string{
			"gap: 4 numbers are not there in CLIPS/A003_####, between 0001 and 0012: deleted in the camera? (0002, 0004 to 0005, 0008)"}},
		{"begins late", seq("CLIPS/A003_%04d.vid", 41, 49), nil},
		{"date and counter", seq("A003_310506_%03d_X7.vid", 1, 6, 3), []string{
			"gap: 1 number is not there in A003_310506_###, between 001 and 006: deleted in the camera? (003)"}},
		{"number before a random end", []string{"A003K001_9F.vid", "A003K002_1C77.vid", "A003K004_0B3.vid"}, []string{
			"gap: 1 number is not there in A003K###, between 001 and 004: deleted in the camera? (003)"}},
		{"times as names are no series", []string{"091502.vid", "094811.vid", "113000.vid", "120755.vid"}, nil},
		{"a folder for every clip", []string{"A003_01/x.vid", "A003_02/x.vid", "A003_04/x.vid", "A003_05/x.vid"}, []string{
			"gap: 1 number is not there in A003_##, between 01 and 05: deleted in the camera? (03)"}},
		{"parts of clips", []string{"A003_1_1.vid", "A003_1_2.vid", "A003_2_1.vid", "A003_3_1.vid", "A003_5_1.vid"}, []string{
			"gap: 1 number is not there in A003_#, between 1 and 5: deleted in the camera? (4)"}},
		{"two series side by side", append(seq("S/A003_%02d.snd", 1, 5, 2), seq("V/A003_%02d.vid", 1, 5)...), []string{
			"gap: 1 number is not there in S/A003_##, between 01 and 05: deleted in the camera? (02)"}},
		{"odd name", append(seq("CLIPS/A003_%04d.vid", 1, 9), "CLIPS/test.vid"), []string{
			"odd name: 1 name does not follow the others (CLIPS/test.vid): named by hand?"}},
		{"many other names are no odd ones", append(seq("A003_%04d.vid", 1, 4), "x.vid", "y.vid"), nil},
		{"empty", []string{"CLIPS/a.vid", "CLIPS/b.vid=0"}, []string{
			"empty: 1 file is without contents (CLIPS/b.vid): was the recording broken off?"}},
		{"other label", []string{"A003_1.vid", "A002_7.vid", "A002_8.vid"}, []string{
			"other label: 2 names carry the label A002, not A003 (A002_7.vid, A002_8.vid): which roll is this?"}},
		{"other camera", []string{"b003_1.vid"}, []string{
			"other label: 1 name carries the label B003, not A003 (b003_1.vid): which roll is this?"}},
		{"counter with a letter is no label", seq("C%04d.vid", 1, 5), nil},
		{"counter of three digits with a letter is no label", seq("C%03d.vid", 1, 5), nil},
		{"counters of two cameras' letters are no labels", append(seq("B%03d.vid", 1, 3), seq("C%03d.vid", 7, 9)...), nil},
		{"three labels, the first on one file", []string{"A002_1.vid", "B003_1.vid", "B003_2.vid", "C004_1.vid", "C004_2.vid"}, []string{
			"other label: 1 name carries the label A002, not A003 (A002_1.vid): which roll is this?",
			"other label: 2 names carry the label B003, not A003 (B003_1.vid, B003_2.vid): which roll is this?",
			"other label: 2 names carry the label C004, not A003 (C004_1.vid, C004_2.vid): which roll is this?"}},
		{"a counter beside a label", append(seq("C%03d.vid", 1, 4), "B003_1.vid", "B003_2.vid"), []string{
			"other label: 2 names carry the label B003, not A003 (B003_1.vid, B003_2.vid): which roll is this?"}},
		{"camera that is not on this show", []string{"Z003_1.vid"}, nil},
		{"hidden", []string{"a.vid", ".Trash-1000/b", "System Volume Information/x", "c/Thumbs.db"}, []string{
			"hidden: 3 hidden files of a computer on the card (.Trash-1000/b, System Volume Information/x, 1 more): was it in a computer?"}},
		{"nothing", nil, nil},
	} {
		if diff := cmp.Diff(c.want, texts(Listing("A003", card(c.files...), facts))); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
}

func TestTimes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		at   time.Time
		want string
	}{
		{"an hour before the card came in", came.Add(-time.Hour), ""},
		{"before the shift, on the same morning", began.Add(-5 * time.Hour), ""},
		{"on the limit", began.Add(-beforeShift), ""},
		{"the day before", began.Add(-20 * time.Hour), "clock: 1 file was recorded before this shift, the first at 2031-05-05 12:00 (a.vid): an older roll, or the camera's clock?"},
		{"a little ahead", came.Add(aheadClock), ""},
		{"two hours ahead", came.Add(2 * time.Hour), "clock: 1 file was recorded after the card came in, the first at 2031-05-06 13:00 (a.vid): is the camera's clock or zone right?"},
		{"never set", time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC), "clock: 1 file carries no time (a.vid): is the camera's clock set?"},
	} {
		l := guard.Listing{Files: []guard.Entry{{Path: "a.vid", Size: 1, MTime: c.at.UnixNano()}}}
		if got := strings.Join(texts(Listing("A003", l, facts)), "\n"); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		if got := Listing("A003", l, Facts{}); got != nil {
			t.Errorf("%s, without a shift: %v, want nothing", c.name, texts(got))
		}
	}
}

func TestEqual(t *testing.T) {
	t.Parallel()
	one := &guard.Proof{Files: []guard.File{{Entry: guard.Entry{Path: "A001_1.vid", Size: 1 << 20, MTime: 1}, Hash: 7}}}
	two := &guard.Proof{Files: []guard.File{
		{Entry: guard.Entry{Path: "a.vid", Size: 1 << 20}, Hash: 7},   // stands on A001
		{Entry: guard.Entry{Path: "b.vid", Size: 1<<20 + 1}, Hash: 7}, // same hash, other size: another file
		{Entry: guard.Entry{Path: "c.vid", Size: 1<<20 + 1}, Hash: 7}, // stands twice on this roll
		{Entry: guard.Entry{Path: "d.txt", Size: 12}, Hash: 7},
		{Entry: guard.Entry{Path: "e.txt", Size: 12}, Hash: 7}, // a small list: no question
	}}
	var ix Index
	ix.Add("A001", one)
	want := []string{
		"equal files: 1 file stands also on A001 (a.vid): was the card not formatted in between?",
		"equal files: 1 file stands twice on this roll (c.vid): copied by hand?",
	}
	if diff := cmp.Diff(want, texts(Proof("A002", two, Facts{}, &ix))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(want[1:], texts(Proof("A002", two, Facts{}, nil))); diff != "" {
		t.Errorf("without an index (-want +got):\n%s", diff)
	}
	if got := Proof("A001", one, Facts{}, &ix); got != nil {
		t.Errorf("a roll is equal to itself: %v", texts(got))
	}
}

// A computer leaves the same files on every card: those are asked about once, as hidden ones.
func TestEqualLeavesHiddenOut(t *testing.T) {
	t.Parallel()
	one := &guard.Proof{Files: []guard.File{
		{Entry: guard.Entry{Path: ".cache/store", Size: 1 << 20}, Hash: 7},
		{Entry: guard.Entry{Path: "System Volume Information/x", Size: 1 << 20}, Hash: 7},
	}}
	two := &guard.Proof{Files: []guard.File{{Entry: guard.Entry{Path: "a.vid", Size: 1 << 20}, Hash: 7}}}
	var ix Index
	ix.Add("A001", one)
	ix.Add("A002", two)
	for _, p := range []*guard.Proof{one, two} {
		for _, q := range Proof("A003", p, Facts{}, &ix) {
			if hidden := p == one; hidden && q.Kind == Equal || !hidden && !strings.Contains(q.Text, "A002") {
				t.Errorf("asked %q", q.Text)
			}
		}
	}
	if qs := Proof("A003", two, Facts{}, &ix); len(qs) != 1 {
		t.Errorf("questions %v, want the one about A002", texts(qs))
	}
}

func TestOf(t *testing.T) {
	t.Parallel()
	d := harbour.Begin(1, "A", "Kim")
	d.SetUp("A", "blue", "B", "yellow")
	d.Wait(2 * time.Hour)
	for _, l := range []procedure.Label{"A001", "A002", "B001"} {
		d.Receive(l)
	}
	rec := d.Clock.Add(-time.Hour)
	d.SetFiles("A002", harbour.File("A001", "CLIPS/A001_0001.vid", 13e9, rec), harbour.File("A002", "CLIPS/A002_0001.vid", 0, rec))
	d.Walk("A001")
	d.Walk("A002")
	d.Walk("B001")
	gone := d.Shift.Rolls["B001"].Proof
	load := func(sha string) (*guard.Proof, error) {
		if sha == gone {
			return nil, errors.New("no such file")
		}
		return d.Proofs[sha], nil
	}
	got, err := Of(d.Shift, load, &Index{})
	if err == nil || err.Error() != "ask about B001: no such file" {
		t.Errorf("error = %v, want it to name B001", err)
	}
	kinds := map[procedure.Label][]string{}
	for l, qs := range got {
		for _, q := range qs {
			kinds[l] = append(kinds[l], q.Kind.String())
		}
	}
	want := map[procedure.Label][]string{"A002": {"empty", "other label", "equal files"}}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// TestAnyNames: whatever stands on a card, every question is one short safe line about files that are there.
func TestAnyNames(t *testing.T) {
	t.Parallel()
	part := rapid.SampledFrom([]string{"A003", "a", "_", "0001", "12", ".", "\x1b[31m", "\xff", "é", "灯", "\n", "999999999999", "B002", "%s%d"})
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) string {
			return strings.Join(rapid.SliceOfN(part, 1, 5).Draw(t, "parts"), "")
		}), 0, 12, func(s string) string { return s }).Draw(t, "names")
		l := card(names...)
		for _, q := range Listing("A003", l, facts) {
			if q.Kind <= kindInvalid || q.Kind >= kindEnd || q.Files < 1 {
				t.Fatalf("question %+v", q)
			}
			if q.Text != procedure.Plain(q.Text) || len([]rune(q.Text)) > 400 || strings.Contains(q.Text, "%!") {
				t.Fatalf("unsafe or long text %q", q.Text)
			}
			if q.Files > 10_000_000 {
				t.Fatalf("%d files asked about", q.Files)
			}
		}
	})
}

// TestLargeCard: a card of 100,000 files is asked about in well under a second.
func TestLargeCard(t *testing.T) {
	t.Parallel()
	l := card(seq("CLIPS/A003_%06d.vid", 1, 100_000, 77)...)
	begin := time.Now()
	qs := Listing("A003", l, facts)
	if d := time.Since(begin); d > 5*time.Second {
		t.Errorf("took %v", d)
	}
	if len(qs) != 1 || qs[0].Files != 1 {
		t.Errorf("questions = %v, want the one gap", texts(qs))
	}
}

func TestKinds(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for k := kindInvalid + 1; k < kindEnd; k++ {
		s := k.String()
		if s == "" || s == "invalid" || seen[s] {
			t.Errorf("kind %d is %q", k, s)
		}
		seen[s] = true
	}
	if Kind(0).String() != "invalid" || kindEnd.String() != "invalid" {
		t.Error("an invalid kind has a name")
	}
}

func TestRecorded(t *testing.T) {
	t.Parallel()
	at := func(p string, when time.Time) guard.File {
		return guard.File{Entry: guard.Entry{Path: p, Size: 1, MTime: when.UnixNano()}}
	}
	first, last := Recorded([]guard.File{
		at("b", came), at("a", began), at(".hidden", came.Add(time.Hour)), at("unset", time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)),
	})
	if !first.Equal(began) || !last.Equal(came) {
		t.Errorf("recorded %v to %v, want %v to %v", first, last, began, came)
	}
	if first, last := Recorded(nil); !first.IsZero() || !last.IsZero() {
		t.Errorf("nothing was recorded %v to %v", first, last)
	}
}
