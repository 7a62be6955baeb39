package clips

import (
	"fmt"
	"runtime"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/procedure"
)

// TestPast: what a card holds is found on earlier rolls, by looks before its hashes are known and by contents after.
func TestPast(t *testing.T) {
	t.Parallel()
	const big = 1 << 20
	file := func(path string, size int64, seconds int64, hash uint64) guard.File {
		return guard.File{Entry: guard.Entry{Path: path, Size: size, MTime: seconds * 1e9}, Hash: hash}
	}
	var pa Past
	pa.Add("A001", 2, &guard.Proof{Files: []guard.File{
		file("CLIPS/A001_1.vid", big, 100, 1), file("CLIPS/A001_2.vid", big, 200, 2), file("CLIPS/A001_3.vid", big, 300, 3),
		file("INDEX.TXT", 12, 100, 9), file(".Trashes/x.vid", big, 100, 8)}})
	pa.Add("A002", 3, &guard.Proof{Files: []guard.File{file("A002_1.vid", big, 400, 4)}})
	for _, c := range []struct {
		name         string
		files        []guard.File
		looks, equal []string
	}{
		{"nothing", nil, nil, nil},
		{"all of a roll, in another folder", []guard.File{file("OLD/A001_1.vid", big, 100, 1), file("OLD/A001_2.vid", big, 201, 2)},
			[]string{"A001: every clip may be the same as on A001 of day 2 (OLD/A001_1.vid and more; name, size and time are): was the card not formatted in between?"},
			[]string{"A001: every clip stands also on A001 of day 2 (OLD/A001_1.vid and more): was the card not formatted in between?"}},
		{"same looks, other contents", []guard.File{file("A001_1.vid", big, 100, 77), file("n.vid", big, 1, 78)},
			[]string{"A001: some clips may be the same as on A001 of day 2 (A001_1.vid; name, size and time are): was the card not formatted in between?"}, nil},
		{"other name, size, time, same contents", []guard.File{file("x.vid", big, 100, 1), file("n.vid", big, 1, 78)}, nil,
			[]string{"A001: some clips stand also on A001 of day 2 (x.vid): was the card not formatted in between?"}},
		{"same hash, other size", []guard.File{file("A001_1.vid", big+1, 100, 1)}, nil, nil},
		{"other time", []guard.File{file("A001_1.vid", big, 102, 77)}, nil, nil},
		{"two rolls, one of today", []guard.File{file("A002_1.vid", big, 400, 4), file("A001_1.vid", big, 100, 1), file("A001_2.vid", big, 200, 2)},
			[]string{"A001: some clips may be the same as on A001 of day 2 (A001_1.vid and more; name, size and time are): was the card not formatted in between?",
				"A002: some clips may be the same as on A002 (A002_1.vid; name, size and time are): was the card not formatted in between?"},
			[]string{"A001: some clips stand also on A001 of day 2 (A001_1.vid and more): was the card not formatted in between?",
				"A002: some clips stand also on A002 (A002_1.vid): was the card not formatted in between?"}},
		{"twice on the card", []guard.File{file("a.vid", big, 1, 5), file("b.vid", big, 2, 5)}, nil,
			[]string{"A003: some files stand twice on this roll (b.vid): copied by hand?"}},
		{"small and hidden", []guard.File{file("INDEX.TXT", 12, 100, 9), file(".Trashes/x.vid", big, 100, 8)}, nil, nil},
	} {
		p := &guard.Proof{Files: c.files}
		lines := func(ts []procedure.Twin) []string {
			var out []string
			for _, x := range ts {
				out = append(out, fmt.Sprintf("%s: %s", x.Of, x.Text))
			}
			return out
		}
		if diff := cmp.Diff(c.looks, lines(pa.Alike("A003", 3, p.Listing()))); diff != "" {
			t.Errorf("%s, by looks (-want +got):\n%s", c.name, diff)
		}
		if diff := cmp.Diff(c.equal, lines(pa.Equal("A003", 3, p))); diff != "" {
			t.Errorf("%s, by contents (-want +got):\n%s", c.name, diff)
		}
	}
	if got := pa.Equal("A001", 2, &guard.Proof{Files: []guard.File{file("CLIPS/A001_1.vid", big, 100, 1)}}); got != nil {
		t.Errorf("a roll that is copied again is asked about itself: %+v", got)
	}
	// Its own roll may have been learned before the other one: a copy that is proven stands in the open shift's journal.
	own := guard.Proof{Files: []guard.File{file("A004_1.vid", big, 500, 6)}}
	pa.Add("A004", 3, &own)
	pa.Add("A005", 2, &guard.Proof{Files: []guard.File{file("A004_1.vid", big, 500, 6)}})
	if got := pa.Equal("A004", 3, &own); len(got) != 1 || got[0].Of != "A005" {
		t.Errorf("behind its own roll, by contents: %+v", got)
	}
	if got := pa.Alike("A004", 3, own.Listing()); len(got) != 1 || got[0].Of != "A005" {
		t.Errorf("behind its own roll, by looks: %+v", got)
	}
	if got := (&Past{}).Alike("A001", 2, card("a.vid")); got != nil {
		t.Errorf("of nothing: %+v", got)
	}
}

// TestPastIsCompact: a file costs what the comment says, some tens of bytes, not its name.
func TestPastIsCompact(t *testing.T) {
	files := 200_000
	if testing.Short() {
		files = 50_000
	}
	var before, after runtime.MemStats
	p := &guard.Proof{Files: make([]guard.File, files)}
	for i := range p.Files {
		p.Files[i] = guard.File{Entry: guard.Entry{Path: fmt.Sprintf("CLIPS/A003_%08d.vid", i), Size: 1 << 20, MTime: int64(i) * 3e9}, Hash: uint64(i) * 0x9E3779B97F4A7C15}
	}
	runtime.GC()
	runtime.ReadMemStats(&before)
	var pa Past
	pa.Add("A003", 1, p)
	runtime.GC()
	runtime.ReadMemStats(&after)
	runtime.KeepAlive(p)
	each := int64(after.HeapAlloc-before.HeapAlloc) / int64(files)
	t.Logf("%d files: %d bytes each", files, each)
	if len(pa.looks.all) != files || each > 50 {
		t.Errorf("%d of %d files, %d bytes each; want all, under 50", len(pa.looks.all), files, each)
	}
}

// BenchmarkPast is a production of a million files on a thousand rolls: what it costs to learn, and what to ask.
func BenchmarkPast(b *testing.B) {
	const rolls, each = 1000, 1000
	p := &guard.Proof{Files: make([]guard.File, each)}
	fill := func(roll int) {
		for i := range p.Files {
			n := uint64(roll*each + i)
			p.Files[i] = guard.File{Entry: guard.Entry{Path: fmt.Sprintf("CLIPS/A003_%08d.vid", n), Size: 1 << 20, MTime: int64(n) * 3e9}, Hash: n * 0x9E3779B97F4A7C15}
		}
	}
	for b.Loop() {
		var pa Past
		for r := range rolls {
			fill(r)
			pa.Add(procedure.MakeLabel("A", r+1), r/100, p)
		}
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		b.ReportMetric(float64(m.HeapAlloc)/1e6, "MB")
		if got := pa.Equal("B001", 1, p); len(got) != 1 {
			b.Fatal(got)
		}
	}
}
