package offload

import (
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"github.com/cespare/xxhash/v2"
	"golang.org/x/sys/unix"

	"twobin/guard/device"
	"twobin/guard/offload/internal/faultfs"
)

// spoil is what the store of a volume is told to do to its requests. The zero value: nothing, and let go what hangs.
type spoil struct {
	Act      string // of randomFault, or actGone, actForget, actAside
	Call, At int    // the how-manyth call of a kind, from 1
	Lasting  bool   // and every later one
	Bit      int
}

// order is a line to the store, told a line from it: that the call has come, or an answer with what was called since the
// last order to spoil.
type order struct{ Spoil *spoil }
type told struct {
	Hit      bool
	Seen     [calls]int
	Happened bool
	Err      string
}

// store is a process that serves the image of a volume, and spoils what is read and written. It is no part of the process
// under test: that one's dying, forking or collecting could wait for a request that only it itself would answer.
type store struct {
	t           *testing.T
	backing, at string
	in          *json.Encoder
	answers     chan told
	hit         atomic.Pointer[func()]
}

// newStore starts it over a new folder in memory.
func newStore(t *testing.T) *store {
	t.Helper()
	s := &store{t: t, backing: memoryDir(t), at: t.TempDir(), answers: make(chan told)}
	if _, err := exec.LookPath("fusermount3"); err != nil || unix.Access("/dev/fuse", unix.W_OK) != nil {
		lack(t, "/dev/fuse and fusermount3")
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "TWOBIN_OFFLOAD_STORE="+s.backing, "TWOBIN_OFFLOAD_STORE_AT="+s.at)
	in, err1 := cmd.StdinPipe()
	out, err2 := cmd.StdoutPipe()
	cmd.Stderr = os.Stderr
	if err1 != nil || err2 != nil || cmd.Start() != nil {
		t.Fatal("the store does not start")
	}
	s.in = json.NewEncoder(in)
	t.Cleanup(func() {
		_ = in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("store: %v", err)
		}
	})
	go func() {
		defer close(s.answers)
		for lines := json.NewDecoder(out); ; {
			var a told
			if lines.Decode(&a) != nil {
				return
			}
			if a.Hit {
				(*s.hit.Load())()
			} else {
				s.answers <- a
			}
		}
	}()
	s.answer()
	return s
}

// answer waits for the next one.
func (s *store) answer() told {
	s.t.Helper()
	a, ok := <-s.answers
	if !ok || a.Err != "" {
		s.t.Fatalf("the store is gone: %s", a.Err)
	}
	return a
}

// onHit sets what to do when a call comes that something is to be done with aside.
func (s *store) onHit(do func()) { s.hit.Store(&do) }

// order spoils from now on, and gives what was called until now.
func (s *store) order(f spoil) told {
	s.t.Helper()
	if err := s.in.Encode(order{&f}); err != nil {
		s.t.Fatal(err)
	}
	return s.answer()
}

// look gives what was called since the last order.
func (s *store) look() told {
	s.t.Helper()
	if err := s.in.Encode(order{}); err != nil {
		s.t.Fatal(err)
	}
	return s.answer()
}

// storeProcess is the process.
func storeProcess(backing, at string) int {
	var mu sync.Mutex
	out := json.NewEncoder(os.Stdout)
	say := func(a told) {
		mu.Lock()
		defer mu.Unlock()
		if err := out.Encode(a); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
	fsys, err := faultfs.Mount(backing, at)
	if err != nil {
		say(told{Err: err.Error()})
		return 1
	}
	say(told{})
	f := &storeFault{randomFault: randomFault{let: make(chan struct{})}}
	for in := json.NewDecoder(os.Stdin); ; {
		var o order
		if in.Decode(&o) != nil {
			break
		}
		seen, happened := f.seenSoFar()
		if o.Spoil != nil {
			close(f.let)
			f = newStoreFault(*o.Spoil, func() { say(told{Hit: true}) })
			fsys.Set(f.hooks())
		}
		say(told{Seen: seen, Happened: happened})
	}
	close(f.let)
	fsys.Set(faultfs.Hooks{})
	if fsys.Unmount() != nil {
		_ = exec.Command("fusermount3", "-u", "-z", at).Run()
	}
	return 0
}

// storeFault is what the store does to requests.
type storeFault struct {
	randomFault
	ordered spoil
	gone    atomic.Bool
}

func newStoreFault(o spoil, hit func()) *storeFault {
	f := &storeFault{ordered: o}
	f.randomFault = randomFault{act: o.Act, call: o.Call, at: o.At, lasting: o.Lasting, bit: o.Bit, errno: syscall.EIO, let: make(chan struct{})}
	if o.Act == actAside {
		f.act, f.lasting, f.change = actCard, false, hit
	}
	return f
}

// hooks are for the file that holds the volume's image.
func (f *storeFault) hooks() faultfs.Hooks {
	h := f.randomFault.hooks()
	h.Create, h.Rename, h.Lookup = nil, nil, nil
	switch {
	case f.ordered.Act == actGone:
		h.Read = func(string, int64, []byte) syscall.Errno { return f.dead(callRead) }
		h.Write = func(_ string, _ int64, data []byte) (int, syscall.Errno) { return len(data), f.dead(callWrite) }
		h.Fsync = func(string) syscall.Errno { return f.dead(callFsync) }
	case f.ordered.Call == callWrite && (f.ordered.Act == actFlip || f.ordered.Act == actForget):
		h.Write = f.spoilData
	}
	return h
}

// dead fails every call from the one on that is hit.
func (f *storeFault) dead(call int) syscall.Errno {
	if f.hit(call) {
		f.gone.Store(true)
	}
	if f.gone.Load() {
		return f.errno
	}
	return 0
}

// spoilData spoils only blocks of files. What ext4 writes for itself no reading through it can prove: it goes by its memory.
func (f *storeFault) spoilData(_ string, _ int64, data []byte) (int, syscall.Errno) {
	for block := range slices.Chunk(data[:len(data)/device.Align*device.Align], device.Align) {
		if !smallBlocks()[xxhash.Sum64(block)] || !f.hit(callWrite) {
			continue
		}
		if f.ordered.Act == actForget {
			clear(block)
		} else {
			f.data(block)
		}
	}
	return len(data), 0
}

// smallBlocks are the blocks of the small card's files as they come to a device.
var smallBlocks = sync.OnceValue(func() map[uint64]bool { return blocksOf(maps.Values(smallContents())) })

// blocksOf are the blocks of files as they come to a device, by their hash: that tells them from what a file system writes
// for itself.
func blocksOf(files iter.Seq[[]byte]) map[uint64]bool {
	known := map[uint64]bool{}
	for data := range files {
		padded := append(slices.Clone(data), make([]byte, device.AlignUp(int64(len(data)))-int64(len(data)))...)
		for block := range slices.Chunk(padded, device.Align) {
			known[xxhash.Sum64(block)] = true
		}
	}
	return known
}

// image is the path of the one file that the store serves, as it is and as it is shown.
func (s *store) image() (real, shown string) {
	return filepath.Join(s.backing, "image"), filepath.Join(s.at, "image")
}
