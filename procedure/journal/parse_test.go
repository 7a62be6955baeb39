package journal

import (
	"bytes"
	"crypto/sha256"
	"strings"
	"testing"
)

// A line whose sums are right but whose form is not what we write: the sums are no secret, so form is checked as well.
func TestOnlyOneWayToWriteALine(t *testing.T) {
	t.Parallel()
	raw, lines := sample(t, "red")
	text := bytes.SplitAfter(raw, []byte{'\n'})[1]
	resum := func(l string) []byte {
		body := l[:len(l)-1-sumLen]
		return encodeSum([]byte(body))
	}
	for _, tt := range []struct{ name, old, new string }{
		{"leading zero", `"lane":0`, `"lane":00`},
		{"sign", `"lane":0`, `"lane":-0`},
		{"space", `"lane":0`, `"lane": 0`},
		{"Z for UTC", `+02:00"`, `Z"`},
		{"minus nought", `+02:00"`, `-00:00"`},
		{"hour 25", `T09:`, `T25:`},
		{"30 February", `-05-06T`, `-02-30T`},
		{"needless escape", `"Kim"`, `"K\u0069m"`},
		{"raw control character", `"Kim"`, "\"K\tm\""},
		{"not UTF-8", `"Kim"`, "\"K\xffm\""},
		{"upper-case event", `"note.made"`, `"Note.made"`},
		{"order of fields", `"run":1,"mono":1000000000`, `"mono":1000000000,"run":1`},
		{"data with white space", `{"text":"red"}`, `{"text": "red"}`},
		{"data no object", `{"text":"red"}`, `"red"`},
		{"data not UTF-8", `{"text":"red"}`, "{\"text\":\"r\xff\"}"},
		{"data not JSON", `{"text":"red"}`, `{"text":red}`},
		{"number", `"seq":2`, `"seq":3`},
		{"run", `"run":1`, `"run":2`},
		{"time of the monotonic clock", `"event":"note.made"`, `"event":"journal.opened"`},
	} {
		if !bytes.Contains(text, []byte(tt.old)) {
			t.Fatalf("%s: %q does not stand in %q", tt.name, tt.old, text)
		}
		edited := bytes.Replace(text, []byte(tt.old), []byte(tt.new), 1)
		b := append(bytes.Clone(raw[:bytes.IndexByte(raw, '\n')+1]), resum(string(edited))...)
		if _, damage := Parse(b); damage == nil || damage.Line != 2 || damage.Torn {
			t.Errorf("%s: %v, want damage in line 2", tt.name, damage)
		}
	}
	// The helper itself must give a good line when nothing is edited.
	b := append(bytes.Clone(raw[:bytes.IndexByte(raw, '\n')+1]), resum(string(text))...)
	if got, damage := Parse(b); damage != nil || !got[1].equal(lines[1]) {
		t.Errorf("unedited: %v", damage)
	}
}

func TestAnotherFormatIsNamed(t *testing.T) {
	t.Parallel()
	l := Line{Seq: 1, Run: 1, Event: EventOpened, Prev: sha256.Sum256([]byte("twobin.journal.2")), Time: clock(0)()}
	_, damage := Parse(encode(nil, &l))
	if damage == nil || damage.Torn || !strings.Contains(damage.What, Format) {
		t.Errorf("a journal of another version: %v", damage)
	}
}

// Lines with right sums and a right chain that no program of ours can have written in this order.
func TestLinesInAnImpossibleOrder(t *testing.T) {
	t.Parallel()
	first := Line{Seq: 1, Run: 1, Event: EventOpened, Prev: genesis(), Time: clock(0)()}
	note := Line{Seq: 2, Run: 1, Event: "note.made", Mono: 5, Time: first.Time}
	edit := func(f func(l *Line)) []Line {
		l := note
		l.Seq = 3
		f(&l)
		return []Line{first, note, l}
	}
	for _, tt := range []struct {
		name  string
		lines []Line
		want  int // damaged line; 0: none
	}{
		{"as they should be", edit(func(*Line) {}), 0},
		{"a new run", edit(func(l *Line) { l.Event, l.Run, l.Mono = EventOpened, 2, 0 }), 0},
		{"monotonic time falls", edit(func(l *Line) { l.Mono = 4 }), 3},
		{"a number is left out", edit(func(l *Line) { l.Seq = 4 }), 3},
		{"a run that nobody opened", edit(func(l *Line) { l.Run = 2 }), 3},
		{"opened within the run", edit(func(l *Line) { l.Event = EventOpened }), 3},
		{"begins without journal.opened", []Line{{Seq: 1, Event: "note.made", Prev: genesis(), Time: first.Time}}, 1},
	} {
		var raw []byte
		for i := range tt.lines {
			if i > 0 {
				tt.lines[i].Prev = tt.lines[i-1].Sum
			}
			raw = encode(raw, &tt.lines[i])
		}
		_, damage := Parse(raw)
		if (damage == nil) != (tt.want == 0) || damage != nil && (damage.Line != tt.want || damage.Torn) {
			t.Errorf("%s: %v, want damage in line %d", tt.name, damage, tt.want)
		}
	}
}
