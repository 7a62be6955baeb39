package journal

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// clock is a clock that moves on by step at each look, without a monotonic reading.
func clock(step time.Duration) func() time.Time {
	at := time.Date(2031, 5, 6, 9, 12, 3, 1, time.FixedZone("", 2*3600))
	return func() time.Time {
		at = at.Add(step)
		return at
	}
}

// sample writes a journal of two runs and gives its bytes and lines.
func sample(t testing.TB, texts ...string) ([]byte, []Line) {
	t.Helper()
	path := tempPath(t)
	o := Options{Station: "A", Program: "test", Now: clock(time.Second)}
	for range 2 {
		j, _, err := Open(path, o)
		if err != nil {
			t.Fatal(err)
		}
		for i, text := range texts {
			mustAppend(t, j, Line{Event: "note.made", Lane: i, Operator: "Kim", Roll: "A003", Data: data(t, map[string]string{"text": text})})
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return raw, mustRead(t, path)
}

// wholeLines is how many lines of raw end in a newline.
func wholeLines(raw []byte) int { return bytes.Count(raw, []byte{'\n'}) }

// The model for the invariant: what was acknowledged is every line whose newline is in the file, since Append returns
// only after the flush of whole lines. A cut anywhere may cost the line that it goes through, never another.
func TestInvariant8CutAtEveryByte(t *testing.T) {
	raw, lines := sample(t, "red tape", "grün \"quoted\" \\ \u2028", "")
	dir := memoryDir(t)
	t.Logf("figure: prefixes of a journal opened = %d", len(raw)+1)
	for cut := range len(raw) + 1 {
		path := filepath.Join(dir, fmt.Sprint(cut))
		if err := os.WriteFile(path, raw[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		j, got, err := Open(path, Options{})
		if err != nil {
			t.Fatalf("cut at byte %d of %d: %v", cut, len(raw), err)
		}
		n := wholeLines(raw[:cut])
		if len(got) < n+1 || got[n].Event != EventOpened {
			t.Fatalf("cut at byte %d: %d lines, want %d and %s", cut, len(got), n, EventOpened)
		}
		if diff := cmp.Diff(lines[:n], got[:n], cmp.Comparer(Line.equal)); diff != "" {
			t.Fatalf("cut at byte %d: lines differ:\n%s", cut, diff)
		}
		checkAside(t, path, raw[:cut], got[n])
		mustAppend(t, j, Line{Event: "step.done"})
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		if r, err := Verify(path); err != nil || !r.Whole {
			t.Fatalf("cut at byte %d: afterwards %v, error %v", cut, r, err)
		}
		for _, name := range []string{path, path + ".torn-1"} {
			if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
				t.Fatal(err)
			}
		}
	}
}

// equal compares what stands in the file.
func (l Line) equal(m Line) bool {
	return bytes.Equal(encode(nil, &l), encode(nil, &m))
}

// checkAside wants the bytes behind the last newline of raw in the file that the opening names, and nothing else.
func checkAside(t *testing.T, path string, raw []byte, opened Line) {
	t.Helper()
	end := raw[bytes.LastIndexByte(raw, '\n')+1:]
	have, err := os.ReadFile(path + ".torn-1")
	if len(end) == 0 {
		if !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("cut at byte %d: something was set aside: %q, %v", len(raw), have, err)
		}
		return
	}
	if err != nil || !bytes.Equal(have, end) {
		t.Fatalf("cut at byte %d: set aside %q, error %v; want %q", len(raw), have, err, end)
	}
	want := fmt.Sprintf(`"torn":[{"file":%q,"bytes":%d,`, filepath.Base(path)+".torn-1", len(end))
	if !bytes.Contains(opened.Data, []byte(want)) {
		t.Fatalf("cut at byte %d: %s does not name the torn end: %s", len(raw), EventOpened, opened.Data)
	}
}

// A power cut can lose any of the blocks of an append that was not yet flushed, in any order, while the file has its new
// length or any shorter one (ALICE, Pillai et al., OSDI 2014: appends are not atomic, blocks and length reach the disk in
// any order). Blocks that are lost read as zeros.
func TestInvariant8BlocksOfTheLastAppendLost(t *testing.T) {
	path := tempPath(t)
	j, _ := mustOpen(t, path, Options{Now: clock(time.Second)})
	mustAppend(t, j, Line{Event: "note.made", Data: data(t, map[string]string{"text": string(bytes.Repeat([]byte{'a'}, 300))})})
	sure := mustRead(t, path)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	long := data(t, map[string]string{"text": string(bytes.Repeat([]byte{'b'}, 420))})
	mustAppend(t, j, Line{Event: "note.made", Data: long}, Line{Event: "note.made", Data: long}, Line{Event: "note.made"})
	all, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	first := len(before) / sector
	blocks := (len(all)+sector-1)/sector - first
	if blocks < 3 || blocks > 6 {
		t.Fatalf("the append spans %d blocks; the test wants a few", blocks)
	}
	dir := memoryDir(t)
	opened := 0
	defer func() { t.Logf("figure: reorderings of an append's blocks opened = %d", opened) }()
	for lost := range 1 << blocks {
		for size := len(before); size <= len(all); size += 23 {
			opened++
			state := bytes.Clone(all[:size])
			for b := range blocks {
				if lost&(1<<b) != 0 {
					lo := max((first+b)*sector, len(before))
					for i := lo; i < min((first+b+1)*sector, size); i++ {
						state[i] = 0
					}
				}
			}
			openState(t, filepath.Join(dir, "j"), state, sure)
		}
	}
}

// openState opens a journal with these bytes and wants at least the lines that are sure, unchanged, and a whole journal.
func openState(t *testing.T, path string, state []byte, sure []Line) {
	t.Helper()
	if err := os.WriteFile(path, state, 0o600); err != nil {
		t.Fatal(err)
	}
	j, got, err := Open(path, Options{})
	if err != nil {
		t.Fatalf("%d bytes: %v\n%q", len(state), err, state)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if len(got) <= len(sure) || !cmp.Equal(sure, got[:len(sure)], cmp.Comparer(Line.equal)) {
		t.Fatalf("%d bytes: %d lines, the %d sure ones are not the first", len(state), len(got), len(sure))
	}
	if r, err := Verify(path); err != nil || !r.Whole {
		t.Fatalf("%d bytes: afterwards %v, %v", len(state), r, err)
	}
	names, err := filepath.Glob(path + "*")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		if err := os.Remove(n); err != nil {
			t.Fatal(err)
		}
	}
}

// A crash between the steps of setting aside leaves the copy and the torn end: the next opening uses the same copy, and
// lists it. A copy that no line lists yet is listed even when the journal was cut already.
func TestSettingAsideTwice(t *testing.T) {
	raw, lines := sample(t, "x")
	for _, cut := range []bool{false, true} {
		path := tempPath(t)
		end := []byte(`{"seq":` + fmt.Sprint(len(lines)+1) + `,"time":"20`)
		state := append(bytes.Clone(raw), end...)
		if cut {
			state = raw
		}
		for name, b := range map[string][]byte{path: state, path + ".torn-1": end} {
			if err := os.WriteFile(name, b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		j, got, err := Open(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(got[len(lines)].Data, []byte(`"torn":[{"file":"shift.journal.torn-1","bytes":`)) {
			t.Errorf("cut %v: torn end not listed: %s", cut, got[len(lines)].Data)
		}
		if _, err := os.Stat(path + ".torn-2"); err == nil {
			t.Errorf("cut %v: copied twice", cut)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		_, got = mustOpen(t, path, Options{})
		if last := got[len(got)-1]; bytes.Contains(last.Data, []byte("torn")) {
			t.Errorf("cut %v: listed again: %s", cut, last.Data)
		}
	}
}

// Each torn end has a file of its own.
func TestSettingAsideBesideOthers(t *testing.T) {
	t.Parallel()
	raw, lines := sample(t, "x")
	path := tempPath(t)
	end := fmt.Sprintf(`{"seq":%d,"ti`, len(lines)+1)
	for name, text := range map[string]string{path: string(raw) + end, path + ".torn-1": "an earlier one"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	mustOpen(t, path, Options{})
	for name, want := range map[string]string{path + ".torn-1": "an earlier one", path + ".torn-2": end} {
		if got, err := os.ReadFile(name); err != nil || string(got) != want {
			t.Errorf("%s holds %q (%v), want %q", filepath.Base(name), got, err, want)
		}
	}
}
