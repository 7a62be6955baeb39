package journal

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// writeJournal writes a journal of n events such as a shift has, without flushing each.
func writeJournal(t testing.TB, path string, n int) {
	t.Helper()
	j, _, err := Open(path, Options{Station: "A", Program: "bench", Now: clock(7 * time.Second), Wrap: func(f File) File { return memoryFile{f} }})
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < n; i++ {
		mustAppend(t, j, Line{Event: "step.done", Lane: 1, Operator: "Kim", Roll: fmt.Sprintf("A%03d", i/30),
			Data: []byte(fmt.Sprintf(`{"step":"receive","took_ms":%d,"prompt":"label","answer":"A%03d","note":"tape is on the card, \"green\""}`, i*37%9000, i/30))})
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

type memoryFile struct{ File }

func (memoryFile) Sync() error { return nil }

// BenchmarkReadSchool reads 2,000 journals of 250 events each, on all cores, as the review does. Wanted: under 2 s.
func BenchmarkReadSchool(b *testing.B) {
	dir := memoryDir(b)
	first := filepath.Join(dir, "0")
	writeJournal(b, first, 250)
	raw, err := os.ReadFile(first)
	if err != nil {
		b.Fatal(err)
	}
	for i := 1; i < 2000; i++ {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprint(i)), raw, 0o600); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(2000 * int64(len(raw)))
	b.ReportAllocs()
	for b.Loop() {
		var next, events atomic.Int64
		var wg sync.WaitGroup
		for range runtime.GOMAXPROCS(0) {
			wg.Go(func() {
				for i := next.Add(1) - 1; i < 2000; i = next.Add(1) - 1 {
					lines, damage, err := ReadFile(filepath.Join(dir, fmt.Sprint(i)))
					if err != nil || damage != nil {
						b.Error(damage, err)
					}
					events.Add(int64(len(lines)))
				}
			})
		}
		wg.Wait()
		if events.Load() != 500_000 {
			b.Fatalf("%d events", events.Load())
		}
	}
}

// BenchmarkOpenLongShift opens the journal of a 16-hour shift, about 3,000 lines. Wanted: under 100 ms.
func BenchmarkOpenLongShift(b *testing.B) {
	path := tempPath(b)
	writeJournal(b, path, 3000)
	b.ReportAllocs()
	for b.Loop() {
		j, _, err := Open(path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if err := j.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAppend is one event: a write, a flush, and the looks at the file around them.
func BenchmarkAppend(b *testing.B) {
	j, _ := mustOpen(b, tempPath(b), Options{Station: "A"})
	for b.Loop() {
		mustAppend(b, j, Line{Event: "step.done", Roll: "A003", Data: []byte(`{"step":"receive","took_ms":1200}`)})
	}
}

func TestLongShiftOpensUnder100ms(t *testing.T) {
	path := tempPath(t)
	writeJournal(t, path, 3000)
	best := time.Hour
	for range 5 { // the machine may be busy with other tests: the best of five
		began := time.Now()
		j, lines, err := Open(path, Options{})
		best = min(best, time.Since(began))
		if err != nil || len(lines) < 3000 {
			t.Fatalf("%d lines, %v", len(lines), err)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("3,000 lines open in %v", best)
	limit := 100 * time.Millisecond
	if slow {
		limit *= 10
	}
	if best > limit {
		t.Errorf("opening took %v, want under %v", best, limit)
	}
}
