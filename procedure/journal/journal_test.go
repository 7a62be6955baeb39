package journal

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func tempPath(t testing.TB) string {
	t.Helper()
	return filepath.Join(t.TempDir(), "shift.journal")
}

func mustOpen(t testing.TB, path string, o Options) (*Journal, []Line) {
	t.Helper()
	j, lines, err := Open(path, o)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := j.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return j, lines
}

func mustAppend(t testing.TB, j *Journal, lines ...Line) []Line {
	t.Helper()
	out, err := j.Append(t.Context(), lines...)
	if err != nil {
		t.Fatalf("Append: %v", err)
	}
	return out
}

func mustRead(t testing.TB, path string) []Line {
	t.Helper()
	lines, damage, err := ReadFile(path)
	if err != nil || damage != nil {
		t.Fatalf("ReadFile: damage %v, error %v", damage, err)
	}
	return lines
}

func data(t testing.TB, v any) json.RawMessage {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestAppendedLinesReadBackEqual(t *testing.T) {
	path := tempPath(t)
	j, want := mustOpen(t, path, Options{Station: "A", Program: "test 1"})
	want = append(want, mustAppend(t, j, Line{Event: "shift.begun", Operator: "Kim"})...)
	want = append(want, mustAppend(t, j,
		Line{Event: "roll.received", Roll: "A003", Lane: 1, Data: data(t, map[string]any{"from": "Robin <&> \u2028 é"})},
		Line{Event: "step.done", Roll: "A003", Station: "B", Operator: "a\"b\\c\n\x1b[31m\x7f\u0085\u2028\u2029 é", Data: json.RawMessage("null")},
	)...)
	if diff := cmp.Diff(want, mustRead(t, path)); diff != "" {
		t.Errorf("read back differs (-appended +read):\n%s", diff)
	}
	for i, l := range want {
		if l.Seq != int64(i+1) || l.Run != 1 {
			t.Errorf("line %d has seq %d, run %d", i+1, l.Seq, l.Run)
		}
	}
	if want[1].Station != "A" || want[3].Station != "B" {
		t.Errorf("stations %q, %q", want[1].Station, want[3].Station)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	_, lines := mustOpen(t, path, Options{})
	if diff := cmp.Diff(want, lines[:len(want)]); diff != "" {
		t.Errorf("opened again differs:\n%s", diff)
	}
	last := lines[len(lines)-1]
	if last.Event != EventOpened || last.Run != 2 || last.Mono != 0 {
		t.Errorf("second opening wrote %+v", last)
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(string(raw), "\x1b\x7f\u0085\u2028\u2029") {
		t.Errorf("control characters stand raw in %q", raw)
	}
	for line := range strings.Lines(string(raw)) {
		if !json.Valid([]byte(line)) {
			t.Errorf("not JSON: %q", line)
		}
	}
}
