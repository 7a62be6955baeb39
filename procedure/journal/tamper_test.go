package journal

import (
	"bytes"
	"errors"
	"os"
	"testing"
)

// edits gives every single-byte edit of raw from a byte on: the edited bytes and the place of the edit.
func edits(raw []byte, from int, values []byte, try func(kind string, at int, edited []byte)) {
	buf := make([]byte, 0, len(raw)+1)
	for at := from; at < len(raw); at++ {
		for _, v := range values {
			if v != raw[at] {
				buf = append(buf[:0], raw...)
				buf[at] = v
				try("change", at, buf)
			}
		}
		buf = append(append(buf[:0], raw[:at]...), raw[at+1:]...)
		try("deletion", at, buf)
		if at+1 < len(raw) && raw[at] != raw[at+1] {
			buf = append(buf[:0], raw...)
			buf[at], buf[at+1] = buf[at+1], buf[at]
			try("swap", at, buf)
		}
	}
	for at := from; at <= len(raw); at++ {
		for _, v := range values {
			buf = append(append(append(buf[:0], raw[:at]...), v), raw[at:]...)
			try("insertion", at, buf)
		}
	}
}

// values are the bytes to put in: all with TWOBIN_TEST_LONG, else those that mean something in a line.
func values() []byte {
	if os.Getenv("TWOBIN_TEST_LONG") != "" {
		all := make([]byte, 256)
		for i := range all {
			all[i] = byte(i)
		}
		return all
	}
	return []byte("\x00\n \"\\0aAF1}{,\xff")
}

// firstDifference is where two byte strings part.
func firstDifference(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

func TestInvariant10EverySingleByteEditIsFoundAndLocated(t *testing.T) {
	t.Parallel()
	raw, lines := sample(t, "red", "é\\")
	if got, damage := Parse(raw); damage != nil || len(got) != len(lines) {
		t.Fatalf("the sample itself: %d lines, %v", len(got), damage)
	}
	count := map[string]int{}
	edits(raw, 0, values(), func(kind string, _ int, edited []byte) {
		count[kind]++
		at := firstDifference(raw, edited)
		want := wholeLines(raw[:at]) + 1
		got, damage := Parse(edited)
		if damage == nil {
			t.Fatalf("%s at byte %d not found", kind, at)
		}
		if damage.Line != want || len(got) != want-1 || int(damage.Offset) != bytes.LastIndexByte(raw[:at], '\n')+1 {
			t.Fatalf("%s at byte %d located at %v with %d good lines, want line %d", kind, at, damage, len(got), want)
		}
		if damage.Torn && want < len(lines) {
			t.Fatalf("%s at byte %d in line %d of %d would be cut off as torn", kind, at, want, len(lines))
		}
	})
	t.Logf("%d bytes, edits tried: %v", len(raw), count)
	for kind, n := range count {
		t.Logf("figure: tampering by %s = %d", kind, n)
	}
	t.Logf("figure: bytes of the journal tampered with = %d", len(raw))
}

// What Open may cut off is only what no acknowledged line can look like: an edit inside the last line is refused, and
// the file stays as it is. Only where a newline is missing at the very end, or a beginning of a next line was added, is
// the end taken for torn.
func TestInvariant10EditsOfTheLastLineAreNotTakenForACrash(t *testing.T) {
	t.Parallel()
	raw, lines := sample(t, "red")
	last := bytes.LastIndexByte(raw[:len(raw)-1], '\n') + 1
	edits(raw, last, values(), func(kind string, _ int, edited []byte) {
		at := firstDifference(raw, edited)
		_, damage := Parse(edited)
		if at >= last && damage.Torn && (at < len(raw)-1 || kind == "change") {
			t.Fatalf("%s at byte %d of the last line (%d to %d) taken for torn: %q", kind, at, last, len(raw), edited[last:])
		}
	})
	path := tempPath(t)
	raw[last+40] ^= 1
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	_, got, err := Open(path, Options{})
	var damaged *DamageError
	if !errors.As(err, &damaged) || damaged.Line != len(lines) || len(got) != len(lines)-1 {
		t.Fatalf("Open = %d lines, %v; want damage in line %d", len(got), err, len(lines))
	}
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, raw) {
		t.Errorf("Open changed the damaged journal (%v)", err)
	}
}

// Truncation: found everywhere but at a line's end, and there the closing code differs.
func TestInvariant10TruncationShowsInTheClosingCode(t *testing.T) {
	t.Parallel()
	raw, lines := sample(t, "red", "green", "blue")
	code := CodeOf(lines[len(lines)-1])
	t.Logf("figure: tampering by truncation = %d", len(raw))
	for cut := range len(raw) {
		got, damage := Parse(raw[:cut])
		n := wholeLines(raw[:cut])
		if cut == 0 || raw[cut-1] == '\n' {
			if damage != nil {
				t.Errorf("cut at the end of line %d: %v", n, damage)
			}
			if len(got) > 0 && SameCode(CodeOf(got[len(got)-1]), code) {
				t.Errorf("cut at the end of line %d: same code", n)
			}
			continue
		}
		if damage == nil || damage.Line != n+1 || !damage.Torn {
			t.Errorf("cut at byte %d: %v, want line %d, torn", cut, damage, n+1)
		}
	}
}

// Lines taken whole: left out, doubled, exchanged, put in from another journal. (The last line of a journal that was put
// in with its own right sums is what only the closing code shows; here the two journals have parted before.)
func TestInvariant10WholeLinesAreChained(t *testing.T) {
	t.Parallel()
	raw, _ := sample(t, "red", "green", "blue")
	other, _ := sample(t, "red", "yellow", "blue")
	ls, theirs := bytes.SplitAfter(raw, []byte{'\n'}), bytes.SplitAfter(other, []byte{'\n'})
	ls, theirs = ls[:len(ls)-1], theirs[:len(theirs)-1]
	join := func(parts ...[][]byte) []byte {
		var b []byte
		for _, p := range parts {
			b = append(b, bytes.Join(p, nil)...)
		}
		return b
	}
	for i := range ls {
		tests := map[string][]byte{
			"doubled": join(ls[:i+1], ls[i:]),
			"foreign": join(ls[:i], theirs[i:i+1], ls[i+1:]),
		}
		want := map[string]int{"doubled": i + 2, "foreign": i + 1}
		if i+1 < len(ls) {
			tests["left out"], want["left out"] = join(ls[:i], ls[i+1:]), i+1
			tests["exchanged"] = join(ls[:i], ls[i+1:i+2], ls[i:i+1], ls[i+2:])
			want["exchanged"] = i + 1
		}
		if bytes.Equal(ls[i], theirs[i]) {
			delete(tests, "foreign")
		} else if bytes.Equal(join(ls[:i]), join(theirs[:i])) {
			want["foreign"] = i + 2 // it does follow what stands before it; the line after it does not follow it
		}
		for name, b := range tests {
			if _, damage := Parse(b); damage == nil || damage.Line != want[name] || damage.Torn {
				t.Errorf("line %d %s: %v, want line %d", i+1, name, damage, want[name])
			}
		}
	}
}
