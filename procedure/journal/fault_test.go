package journal

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"twobin/guard"
)

// faulty is a File that does what it is told at its nth write or flush.
type faulty struct {
	File
	write func(File, []byte) (int, error)
	sync  func(File) error
	log   []string
}

func (f *faulty) Write(b []byte) (int, error) {
	f.log = append(f.log, "write")
	if f.write != nil {
		return f.write(f.File, b)
	}
	return f.File.Write(b)
}

func (f *faulty) Sync() error {
	f.log = append(f.log, "sync")
	if f.sync != nil {
		return f.sync(f.File)
	}
	return f.File.Sync()
}

func kindOf(err error) string {
	var e *guard.Error
	if errors.As(err, &e) {
		return e.Kind.String()
	}
	return "none"
}

// Append answers after one write and then one flush, never before; and if either fails there is no answer to show.
func TestInvariant7AppendReturnsOnlyWhatIsFlushed(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	var f *faulty
	j, lines := mustOpen(t, path, Options{Wrap: func(w File) File { f = &faulty{File: w}; return f }})
	f.log = nil
	var onDisk int
	f.sync = func(w File) error {
		onDisk = len(mustRead(t, path)) // what a reader sees when the flush is called
		return w.Sync()
	}
	out := mustAppend(t, j, Line{Event: "roll.received"}, Line{Event: "step.done"})
	if got := strings.Join(f.log, " "); got != "write sync" {
		t.Errorf("calls: %s, want one write, then one flush", got)
	}
	if want := len(lines) + len(out); onDisk != want || len(out) != 2 {
		t.Errorf("%d lines in the file when the flush began, want %d", onDisk, want)
	}
}

func TestInvariant7NothingCountsAfterAFailedWriteOrFlush(t *testing.T) {
	t.Parallel()
	io5 := &os.PathError{Op: "write", Path: "journal", Err: syscall.EIO}
	full := &os.PathError{Op: "write", Path: "journal", Err: syscall.ENOSPC}
	for _, tt := range []struct {
		name   string
		write  func(File, []byte) (int, error)
		sync   func(File) error
		kind   guard.Kind
		torn   bool // the next opening finds a torn end
		counts bool // the line is whole on disk: it may count after the next opening
	}{
		{name: "nothing written", write: func(File, []byte) (int, error) { return 0, io5 }, kind: guard.KindWrite},
		{name: "half written", write: func(f File, b []byte) (int, error) {
			n, _ := f.Write(b[:len(b)/2])
			return n, full
		}, kind: guard.KindNoSpace, torn: true},
		{name: "half written without an error", write: func(f File, b []byte) (int, error) { return f.Write(b[:len(b)/2]) },
			kind: guard.KindWrite, torn: true},
		{name: "said to be written, but not there", write: func(_ File, b []byte) (int, error) { return len(b), nil }, kind: guard.KindRecord},
		{name: "written and an error", write: func(f File, b []byte) (int, error) {
			n, _ := f.Write(b)
			return n, io5
		}, kind: guard.KindWrite, counts: true},
		{name: "flush fails", sync: func(File) error { return io5 }, kind: guard.KindWrite, counts: true},
		{name: "flush fails, read-only", sync: func(File) error { return syscall.EROFS }, kind: guard.KindReadOnly, counts: true},
		{name: "flush fails, not allowed", sync: func(File) error { return syscall.EPERM }, kind: guard.KindDenied, counts: true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := tempPath(t)
			var f *faulty
			j, before, err := Open(path, Options{Wrap: func(w File) File { f = &faulty{File: w}; return f }})
			if err != nil {
				t.Fatal(err)
			}
			before = append(before, mustAppend(t, j, Line{Event: "step.done"})...)
			f.write, f.sync = tt.write, tt.sync
			out, err := j.Append(t.Context(), Line{Event: "roll.proven"})
			if out != nil || kindOf(err) != tt.kind.String() || errors.Is(err, ErrClosed) {
				t.Fatalf("Append = %v, %v (%s), want %v", out, err, kindOf(err), tt.kind)
			}
			f.write, f.sync = nil, nil // the fault is gone, but trying again would only hide it
			calls := len(f.log)
			if out, err := j.Append(t.Context(), Line{Event: "roll.proven"}); out != nil || !errors.Is(err, ErrClosed) || kindOf(err) != tt.kind.String() {
				t.Errorf("second Append = %v, %v; want closed, with the first cause", out, err)
			}
			if _, err := j.Check(); !errors.Is(err, ErrClosed) {
				t.Errorf("Check = %v", err)
			}
			if len(f.log) != calls {
				t.Errorf("the file was touched again: %v", f.log[calls:])
			}
			if err := j.Close(); err != nil {
				t.Fatal(err)
			}
			checkAfterFault(t, path, before, tt.torn, tt.counts)
		})
	}
}

func checkAfterFault(t *testing.T, path string, before []Line, torn, counts bool) {
	t.Helper()
	_, after := mustOpen(t, path, Options{})
	want := len(before) + 1
	if counts {
		want++
	}
	if len(after) != want {
		t.Errorf("opened again: %d lines, want %d", len(after), want)
	}
	for i, l := range before {
		if !l.equal(after[i]) {
			t.Errorf("line %d changed", i+1)
		}
	}
	if _, err := os.Stat(path + ".torn-1"); (err == nil) != torn {
		t.Errorf("torn end set aside: %v, want %v", err == nil, torn)
	}
}

// Opening fails as a whole when its own line cannot be written: nobody works on a journal that takes nothing.
func TestOpenFailsWithTheDisk(t *testing.T) {
	t.Parallel()
	for n := 1; n <= 2; n++ { // the flush before reading, the flush of journal.opened
		path, calls := tempPath(t), 0
		_, _, err := Open(path, Options{Wrap: func(w File) File {
			return &faulty{File: w, sync: func(w File) error {
				if calls++; calls == n {
					return syscall.EIO
				}
				return w.Sync()
			}}
		}})
		if kindOf(err) != "write" {
			t.Errorf("flush %d fails: Open = %v", n, err)
		}
		if _, err := os.Stat(holderFile(path)); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("flush %d fails: the note stays", n)
		}
		j, _ := mustOpen(t, path, Options{}) // and the lock is free
		mustAppend(t, j, Line{Event: "step.done"})
	}
	if _, _, err := Open(filepath.Join(t.TempDir(), "no", "such"), Options{}); kindOf(err) != "gone" {
		t.Errorf("no folder: %v", err)
	}
	if _, _, err := Open(t.TempDir(), Options{}); err == nil {
		t.Error("a folder was opened as a journal")
	}
}

// A file that is no journal is never cut, whatever it holds.
func TestOpenLeavesOtherFilesAlone(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"hello", "hello\n", "{}", `{"seq":2,`, "{\"seq\":1,\"time\":\"20 \x01", strings.Repeat("\x00", 511) + "x"} {
		path := tempPath(t)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		var d *DamageError
		if _, _, err := Open(path, Options{}); !errors.As(err, &d) || d.Torn {
			t.Errorf("Open of %q = %v", text, err)
		}
		if now, err := os.ReadFile(path); err != nil || string(now) != text {
			t.Errorf("%q became %q (%v)", text, now, err)
		}
	}
}

// What happens behind the journal's back is noticed before a line is added to a file that nobody will find.
func TestInvariant10MeddlingIsNoticed(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		meddle func(path string) error
		kind   guard.Kind
	}{
		{"removed", os.Remove, guard.KindGone},
		{"moved", func(p string) error { return os.Rename(p, p+".old") }, guard.KindGone},
		{"replaced", func(p string) error {
			return errors.Join(os.Rename(p, p+".old"), os.WriteFile(p, nil, 0o600))
		}, guard.KindGone},
		{"cut", func(p string) error { return os.Truncate(p, 10) }, guard.KindRecord},
		{"added to", func(p string) error {
			f, err := os.OpenFile(p, os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = io.WriteString(f, "x")
			return errors.Join(err, f.Close())
		}, guard.KindRecord},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := tempPath(t)
			j, _ := mustOpen(t, path, Options{})
			if err := tt.meddle(path); err != nil {
				t.Skipf("this system does not allow it: %v", err)
			}
			before, _ := os.ReadFile(path) // may be gone
			if out, err := j.Append(t.Context(), Line{Event: "step.done"}); out != nil || kindOf(err) != tt.kind.String() {
				t.Errorf("Append = %v, %v; want %v", out, err, tt.kind)
			}
			if after, _ := os.ReadFile(path); string(after) != string(before) {
				t.Errorf("the meddled file got %d bytes more", len(after)-len(before))
			}
		})
	}
}

// Check sees what was done to lines that are on disk already: a changed byte, and lines cut off at the end.
func TestInvariant10CheckReadsTheWholeJournalAgain(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	j, lines := mustOpen(t, path, Options{})
	lines = append(lines, mustAppend(t, j, Line{Event: "step.done"})...)
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	write := func(b []byte) {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if r, err := j.Check(); err != nil || !r.Whole || r.Lines != 2 || r.Code != j.Code() || r.Code != CodeOf(lines[1]) {
		t.Errorf("Check = %v, %v", r, err)
	}
	write(raw[:len(encode(nil, &lines[0]))])
	if r, err := j.Check(); err != nil || r.Whole || r.Damage.Line != 2 {
		t.Errorf("Check after the last line was cut off = %v, %v", r, err)
	}
	raw[20] ^= 1
	write(raw)
	if r, err := j.Check(); err != nil || r.Whole || r.Damage.Line != 1 {
		t.Errorf("Check after a changed byte = %v, %v", r, err)
	}
}

func TestAppendRefuses(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	j, lines := mustOpen(t, path, Options{})
	long := `{"a":"` + strings.Repeat("x", MaxLine) + `"}`
	for _, tt := range []struct {
		name string
		line Line
	}{
		{"no name", Line{}},
		{"name of the journal", Line{Event: "journal.opened"}},
		{"name of the clock", Line{Event: "clock.jumped"}},
		{"upper case", Line{Event: "Roll.received"}},
		{"two dots", Line{Event: "roll..received"}},
		{"ends in a dot", Line{Event: "roll."}},
		{"begins with a digit", Line{Event: "1roll"}},
		{"newline", Line{Event: "roll\nreceived"}},
		{"long name", Line{Event: strings.Repeat("a", maxEvent+1)}},
		{"lane", Line{Event: "a", Lane: -1}},
		{"roll not UTF-8", Line{Event: "a", Roll: "\xff"}},
		{"operator not UTF-8", Line{Event: "a", Operator: "\xc3"}},
		{"station not UTF-8", Line{Event: "a", Station: "\xed\xa0\x80"}},
		{"data not JSON", Line{Event: "a", Data: []byte(`{"a":}`)}},
		{"data no object", Line{Event: "a", Data: []byte(`[1]`)}},
		{"data with white space", Line{Event: "a", Data: []byte(`{"a": 1}`)}},
		{"data with newline", Line{Event: "a", Data: []byte("{\"a\":1\n}")}},
		{"data not UTF-8", Line{Event: "a", Data: []byte("{\"a\":\"\xff\"}")}},
		{"two data", Line{Event: "a", Data: []byte(`{"a":1}{"b":1}`)}},
		{"name twice", Line{Event: "a", Data: []byte(`{"a":1,"b":2,"a":3}`)}},
		{"name twice, deep", Line{Event: "a", Data: []byte(`{"a":[1,{"b":"x","c":{"d":1},"b":2}]}`)}},
		{"name twice, written otherwise", Line{Event: "a", Data: []byte(`{"a":1,"\u0061":3}`)}},
		{"too long", Line{Event: "a", Data: []byte(long)}},
	} {
		if out, err := j.Append(t.Context(), Line{Event: "a"}, tt.line); out != nil || !errors.Is(err, ErrLine) {
			t.Errorf("%s: Append = %v, %v", tt.name, out, err)
		}
	}
	big := Line{Event: "a", Data: []byte(long[:6] + long[100000:])}
	if out, err := j.Append(t.Context(), big, big, big, big, big); out != nil || !errors.Is(err, ErrLine) {
		t.Errorf("too much at once: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if out, err := j.Append(ctx, Line{Event: "a"}); out != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("done ctx: %v, %v", out, err)
	}
	if out, err := j.Append(t.Context()); out != nil || err != nil {
		t.Errorf("no lines: %v, %v", out, err)
	}
	if got := mustRead(t, path); len(got) != len(lines) {
		t.Errorf("%d lines on disk after refusals, want %d", len(got), len(lines))
	}
	good := []Line{big, {Event: "a-b_c.d1", Data: []byte(`{"a":{"a":[{"a":1},{"a":1}],"b":"a"},"b":" \" \\"}`)}}
	if mustAppend(t, j, good...); len(mustRead(t, path)) != len(lines)+2 {
		t.Error("good lines after the refusals are not there")
	}
}
