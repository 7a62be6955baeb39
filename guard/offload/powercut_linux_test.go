package offload

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"twobin/guard/device"
	"twobin/guard/offload/internal/faultfs"
)

// volatile is the store of a drive with a cache of its own: what was written since the last flush may be lost in a power
// cut, block by block, in any combination.
type volatile struct {
	mu      sync.Mutex
	img     string
	before  map[int64][]byte // what the medium has where unflushed writes went
	writes  int
	cutAt   map[int]bool
	cuts    []string
	random  *rand.Rand
	flushes int
}

// write is a hook: it remembers what the medium has, and cuts the power when it is time.
func (v *volatile) write(_ string, off int64, data []byte) (int, unix.Errno) {
	v.mu.Lock()
	defer v.mu.Unlock()
	f, err := os.Open(v.img)
	if err != nil {
		return 0, unix.EIO
	}
	defer f.Close()
	for b := off / device.Align * device.Align; b < off+int64(len(data)); b += device.Align {
		if _, ok := v.before[b]; !ok {
			old := make([]byte, device.Align)
			if _, err := f.ReadAt(old, b); err != nil {
				return 0, unix.EIO
			}
			v.before[b] = old
		}
	}
	if v.writes++; v.cutAt[v.writes] {
		if err := v.cut(); err != nil {
			return 0, unix.EIO
		}
	}
	return len(data), 0
}

// flush is a hook.
func (v *volatile) flush(string) unix.Errno {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.before = map[int64][]byte{}
	v.flushes++
	return 0
}

// cut keeps an image of what a power cut now would leave: a random half of the unflushed blocks is lost.
func (v *volatile) cut() error {
	name := fmt.Sprintf("%s.cut%d", v.img, len(v.cuts))
	data, err := os.ReadFile(v.img)
	if err != nil {
		return err
	}
	for b, old := range v.before {
		if v.random.IntN(2) == 0 {
			copy(data[b:], old)
		}
	}
	v.cuts = append(v.cuts, name)
	return os.WriteFile(name, data, 0o600)
}

// TestPowerCut takes the power away from a drive with a cache of its own, at many moments of a copy and right after it
// was proven. Whatever has its final name is whole; after the proof everything is there. That the loss is real is shown
// by the blocks that were unflushed. TWOBIN_CUTS sets how many cuts (13 a copy; default one copy).
func TestPowerCut(t *testing.T) {
	t.Parallel()
	needRoot(t)
	total, done := 1, 0
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_CUTS")); err == nil {
		total = n
	}
	for round := 0; done < total && !t.Failed(); round++ {
		t.Run(fmt.Sprint(round), func(t *testing.T) { done += powerCuts(t, uint64(round)) })
	}
	t.Logf("figure: power cuts of a drive with a cache = %d", done)
}

func powerCuts(t *testing.T, seed uint64) int {
	fsys, mount, backing := spoiledOver(t, memoryDir(t))
	v := &volatile{before: map[int64][]byte{}, cutAt: map[int]bool{}, random: rand.New(rand.NewPCG(5, 6+seed))}
	v.img = filepath.Join(backing, "disk")
	if err := os.WriteFile(v.img, make([]byte, 64<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	command(t, "mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", v.img)
	fsys.Set(faultfs.Hooks{Write: v.write, Fsync: v.flush})
	at := mounted(t, loopDevice(t, filepath.Join(mount, "disk"), "--direct-io=on"))
	src := t.TempDir()
	put(t, src, "CLIPS/one.mov", 5<<20)
	put(t, src, "CLIPS/two.mov", 3<<20)
	for i := range 120 {
		put(t, src, fmt.Sprintf("FRAMES/%d/f%04d.dpx", i%5, i), 20_000+i)
	}
	job := plainJob(t, src, at)
	job.Targets[0].Folder = "counting" // how many writes a copy is, so that the cuts fall into the next
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	v.mu.Lock()
	for range 12 {
		v.cutAt[v.writes+1+v.random.IntN(v.writes)] = true
	}
	v.mu.Unlock()
	job.Targets[0].Folder = "roll"
	p, errs = Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	v.mu.Lock()
	lost := len(v.before)
	err := v.cut()
	v.mu.Unlock()
	if err != nil {
		t.Fatal(err)
	}
	if v.flushes == 0 || len(v.cuts) < 3 {
		t.Fatalf("%d flushes, %d cuts, %d blocks unflushed at the end: this test shows nothing", v.flushes, len(v.cuts), lost)
	}
	for i, cut := range v.cuts {
		after := mounted(t, loopDevice(t, cut))
		job.Targets[0].Path = after
		n := whole(t, job, src)
		t.Logf("cut %d of %d: %d files have their names", i+1, len(v.cuts), n)
		if i == len(v.cuts)-1 && n != len(job.Listing.Files) {
			t.Errorf("power cut after the proof: %d of %d files are there", n, len(job.Listing.Files))
		}
	}
	return len(v.cuts)
}
