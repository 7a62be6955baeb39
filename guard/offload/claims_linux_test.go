package offload

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"github.com/cespare/xxhash/v2"
	"golang.org/x/sys/unix"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/offload/internal/faultfs"
)

// swindle is the store of a drive that claims more than it holds: it keeps the last `holds` bytes of file data that were
// written, and forgets what came before. Whatever is read soon after it was written is right.
type swindle struct {
	mu    sync.Mutex
	img   string
	holds int
	fifo  []int64
	known map[uint64]bool // blocks of the card's files
}

// write is a hook. The file system's own blocks stay, as a drive keeps its first part.
func (s *swindle) write(_ string, off int64, data []byte) (int, unix.Errno) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.holds == 0 {
		return len(data), 0
	}
	for at := 0; at+device.Align <= len(data); at += device.Align {
		if s.known[xxhash.Sum64(data[at:at+device.Align])] {
			s.fifo = append(s.fifo, off+int64(at))
		}
	}
	for len(s.fifo)*device.Align > s.holds {
		f, err := os.OpenFile(s.img, os.O_WRONLY, 0)
		if err != nil {
			return 0, unix.EIO
		}
		n := len(s.fifo) - s.holds/device.Align
		for _, b := range s.fifo[:n] {
			if _, err := f.WriteAt(make([]byte, device.Align), b); err != nil {
				return 0, unix.EIO
			}
		}
		s.fifo = s.fifo[n:]
		if err := f.Close(); err != nil {
			return 0, unix.EIO
		}
	}
	return len(data), 0
}

// set starts anew with another size; 0: an honest drive.
func (s *swindle) set(holds int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.holds, s.fifo = holds, nil
}

// TestClaimsMoreThanItHolds: 40 copies to such a drive, each time another one; 40 have to be noticed. And one, with
// enough room, has to be proven.
func TestClaimsMoreThanItHolds(t *testing.T) {
	t.Parallel()
	needRoot(t)
	fsys, mount, backing := spoiled(t)
	s := &swindle{img: filepath.Join(backing, "disk")}
	if err := os.WriteFile(s.img, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(s.img, 1<<30); err != nil {
		t.Fatal(err)
	}
	command(t, "mkfs.ext4", "-q", "-O", "^has_journal", "-E", "lazy_itable_init=0", s.img)
	fsys.Set(faultfs.Hooks{Write: s.write})
	at := mounted(t, loopDevice(t, filepath.Join(mount, "disk"), "--direct-io=on"))

	src := t.TempDir()
	var files [][]byte
	add := func(name string, size int) {
		put(t, src, name, size)
		files = append(files, contents(name, size))
	}
	total := 0
	for i := range 6 {
		size := 1<<20 + i*300_000
		add(fmt.Sprintf("CLIPS/C%03d.mov", i), size)
		total += size
	}
	for i := range 20 {
		add(fmt.Sprintf("FRAMES/f%03d.dpx", i), 128<<10)
		total += 128 << 10
	}
	s.mu.Lock()
	s.known = blocksOf(slices.Values(files))
	s.mu.Unlock()
	job := plainJob(t, src, at)
	random, noticed := rand.New(rand.NewPCG(3, 4)), 0
	const trials = 40
	for trial := range trials {
		holds := total/4 + random.IntN(total*2/3)
		s.set(holds)
		job.Targets[0].Folder = fmt.Sprintf("trial%02d", trial)
		p, errs := Run(t.Context(), job, nil)
		if len(errs) == 1 && errs[0].Kind == guard.KindMismatch && !p.Proven(&p.Copies[0]) {
			noticed++
		} else {
			t.Errorf("a drive that holds %d of %d bytes: errors = %v, proven = %v", holds, total, errs, p.Proven(&p.Copies[0]))
		}
	}
	t.Logf("noticed %d of %d", noticed, trials)
	s.set(0)
	job.Targets[0].Folder = "honest"
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
}
