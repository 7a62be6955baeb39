package procedure_test

import (
	"fmt"
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// load is what the process holds: bytes of its heap that are in use, and open files (-1: the system does not tell).
func load() (heap int64, files int) {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return int64(m.HeapAlloc), -1
	}
	return int64(m.HeapAlloc), len(open)
}

// oneRoll takes a roll through the whole routine, every third one with its erase.
func (r *rig) oneRoll(label string, erase bool) {
	r.tb.Helper()
	r.card(label, map[string]string{
		"CLIPS/" + label + "C001_R4KQ.mov": strings.Repeat("one", 4000), "CLIPS/" + label + "C002_M2ZT.mov": strings.Repeat("two", 3000), "notes.txt": "hello",
	})
	r.receive(label)
	r.toStart(label)
	r.toGreen(label)
	if erase {
		r.toErase(label)
		r.say("erase " + label)
		r.out.await(r.tb, "The card is empty")
		r.pull(label)
		r.out.await(r.tb, "reader: card out")
		r.say("Robin")
	} else {
		r.ask("next", "r")
		r.ask("return.to", "Robin")
	}
	r.out.await(r.tb, label+" closed")
	if err := os.RemoveAll(r.dir + "/cards/" + label); err != nil {
		r.tb.Fatal(err)
	}
}

// A shift of sixteen hours with twelve cameras, at accelerated time: memory and open files stay flat, and its journal
// opens in under 100 ms. TWOBIN_ROLLS sets how many rolls (default 24, in short mode 14; a long day has 100).
func TestLongShift(t *testing.T) {
	rolls, cameras := 24, 12
	if testing.Short() {
		rolls = 14
	}
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_ROLLS")); err == nil {
		rolls = max(n, cameras+1)
	}
	r := newRig(t).start()
	for i, colour := range []string{"blue", "yellow", "white", "black", "orange", "pink", "purple", "brown", "grey", "silver", "gold", "violet"} {
		r.ask("setup.camera", fmt.Sprintf("%c %s", 'A'+i, colour))
	}
	for _, a := range [][2]string{{"setup.camera", ""}, {"setup.marking", "red tape"}, {"setup.kit", "k"}, {"setup.bins", "b"}, {"setup.done", "s"}} {
		r.ask(a[0], a[1])
	}
	var heap int64
	var files int
	for i := range rolls {
		if i == cameras { // by now everything that is made once is there
			heap, files = load()
		}
		r.oneRoll(fmt.Sprintf("%c%03d", 'A'+i%cameras, 1+i/cameras), i%3 == 0)
		r.clock.pass(16 * time.Hour / time.Duration(rolls))
	}
	heapEnd, filesEnd := load()
	grown := max(0, heapEnd-heap) / int64(rolls-cameras)
	// What a roll leaves behind: its state, its events, and the lines of output that this test keeps.
	if limit := int64(32 << 10); grown > limit {
		t.Errorf("the heap grew by %d bytes a roll, want at most %d", grown, limit)
	}
	if filesEnd > files+4 { // timers and the like of a job that just ended
		t.Errorf("open files: %d after %d rolls, %d at the end", files, cameras, filesEnd)
	}
	s := r.runner.Shift()
	returned := len(s.At(procedure.PlaceReturned))
	if returned != rolls || len(s.Open()) != 0 {
		t.Errorf("%d of %d rolls are returned; open: %q", returned, rolls, s.Open())
	}
	r.stop()
	best := time.Hour
	lines := 0
	for range 5 { // the machine may be busy with other tests: the best of five
		began := time.Now()
		j, ls, err := journal.Open(r.journal, journal.Options{})
		best = min(best, time.Since(began))
		if err != nil {
			t.Fatal(err)
		}
		lines = len(ls)
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if best > 100*time.Millisecond {
		t.Errorf("the journal of %d lines opens in %v", lines, best)
	}
	t.Logf("figure: rolls of a 16-hour shift = %d", rolls)
	t.Logf("figure: bytes of heap a roll = %d", grown)
	t.Logf("figure: open files more at its end = %d", max(0, filesEnd-files))
	t.Logf("figure: milliseconds to open its journal = %d", (best+time.Millisecond-1)/time.Millisecond)
	t.Logf("%d lines; heap %d kB, then %d kB", lines, heap>>10, heapEnd>>10)
}
