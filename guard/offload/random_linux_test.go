package offload

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard"
	"twobin/guard/offload/internal/faultfs"
)

// The calls that a random fault may hit. A fault is one call of a kind, or that call and every later one.
const (
	callRead = iota
	callWrite
	callFsync
	callCreate
	callRename
	callLookup
	callOpen
	callClose
	callList
	callMake
	callAttributes
	callAllocate
	calls
)

// callNames are for reading; besideCalls are those that come to one hook.
var (
	callNames = [calls]string{"read", "write", "flush", "create", "rename", "lookup", "open", "close", "list", "make folder", "set attributes", "allocate"}

	besideCalls = map[string]int{faultfs.Opening: callOpen, faultfs.Closing: callClose, faultfs.Listing: callList, faultfs.Making: callMake,
		faultfs.Attributes: callAttributes, faultfs.Allocating: callAllocate}
)

// What a fault does instead of the call.
const (
	actError = "error"
	actFlip  = "flip"
	actShort = "short"
	actLess  = "less than asked"
	actHang  = "hang"
	actCard  = "card changes"
)

// randomFault is one fault, and whether it came to happen. Its hooks also count the calls of a run without it.
type randomFault struct {
	mu       sync.Mutex
	call     int
	at       int  // the how-manyth call, from 1; 0: none
	lasting  bool // every later call too
	act      string
	errno    syscall.Errno
	bit      int
	let      chan struct{}
	change   func()
	seen     [calls]int
	happened bool
}

func (f *randomFault) String() string {
	return fmt.Sprintf("%s at %s %d, lasting %v, errno %v, bit %d", f.act, callNames[f.call], f.at, f.lasting, f.errno, f.bit)
}

// hit says whether this call is one that the fault hits.
func (f *randomFault) hit(call int) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.seen[call]++
	hit := call == f.call && f.at > 0 && (f.seen[call] == f.at || f.lasting && f.seen[call] > f.at)
	f.happened = f.happened || hit
	return hit
}

// seenSoFar is what was called until now, and whether the fault came to happen.
func (f *randomFault) seenSoFar() ([calls]int, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.seen, f.happened
}

// do carries the fault out on a call without data.
func (f *randomFault) do(call int) syscall.Errno {
	if !f.hit(call) {
		return 0
	}
	switch f.act {
	case actHang:
		<-f.let
	case actCard:
		f.change()
	default:
		return f.errno
	}
	return 0
}

func (f *randomFault) data(data []byte) {
	if len(data) > 0 {
		data[f.bit/8%len(data)] ^= 1 << (f.bit % 8)
	}
}

func (f *randomFault) hooks() faultfs.Hooks {
	return faultfs.Hooks{
		Read: func(_ string, _ int64, data []byte) syscall.Errno {
			switch f.act {
			case actFlip:
				if f.hit(callRead) {
					f.data(data)
				}
			case actLess: // below
			default:
				return f.do(callRead)
			}
			return 0
		},
		Less: func(_ string, _ int64, n int) int {
			if f.act == actLess && n > 0 && f.hit(callRead) {
				return f.bit % n
			}
			return n
		},
		Write: func(_ string, _ int64, data []byte) (int, syscall.Errno) {
			switch f.act {
			case actFlip:
				if f.hit(callWrite) {
					f.data(data)
				}
			case actShort:
				if f.hit(callWrite) {
					return f.bit % (len(data) + 1), 0
				}
			default:
				return len(data), f.do(callWrite)
			}
			return len(data), 0
		},
		Fsync:  func(string) syscall.Errno { return f.do(callFsync) },
		Create: func(string) syscall.Errno { return f.do(callCreate) },
		Rename: func(string) syscall.Errno { return f.do(callRename) },
		Lookup: func(string) syscall.Errno { return f.do(callLookup) },
		Beside: func(call, _ string) syscall.Errno { return f.do(besideCalls[call]) },
	}
}

// bench is a small card and two drives of which one of the three is spoiled.
type bench struct {
	t          *testing.T
	rng        *rand.Rand
	fsys       *faultfs.FS
	card, real string // the card as the engine sees it, and what lies behind
	drives     [2]string
	behind     [2]string
	onCard     bool
	devices    bool          // they are real volumes
	counted    [2][calls]int // calls of a whole job, without and with rereading
	faults     map[string]int
	harmless   int
	listing    guard.Listing
}

// smallCard are the names and lengths on the card: around the limits of pages and of small files.
var smallCard = map[string]int{"A/empty": 0, "A/one": 1, "A/B/page": 4096, "A/B/odd": 4097, "C/some": 70_001, "limit": smallSize, "C/large": smallSize + 1}

// newBench mounts the fault file system in memory and counts the calls of a run without a fault.
func newBench(t *testing.T, seed uint64, onCard bool) *bench {
	t.Helper()
	b := &bench{t: t, rng: rand.New(rand.NewPCG(seed, 3)), onCard: onCard, faults: map[string]int{}}
	fsys, mount, backing := spoiledOver(t, memoryDir(t))
	b.fsys = fsys
	b.card, b.drives = memoryDir(t), [2]string{memoryDir(t), memoryDir(t)}
	b.real, b.behind = b.card, b.drives
	if onCard {
		b.card, b.real = mount, backing
	} else {
		b.drives[1], b.behind[1] = mount, backing
	}
	b.fill()
	b.listing = scanned(t, b.card)
	for i := range b.counted {
		f := &randomFault{act: actError}
		p, errs := b.run(f, i == 1, 0)
		noFaults(t, p, errs)
		b.counted[i], _ = f.seenSoFar()
		b.clear()
	}
	return b
}

func (b *bench) fill() {
	for name, size := range smallCard {
		put(b.t, b.real, name, size)
	}
}

// clear takes the copies away, and makes the card what it was.
func (b *bench) clear() {
	b.t.Helper()
	for _, d := range b.behind {
		if err := os.RemoveAll(filepath.Join(d, "roll")); err != nil {
			b.t.Fatal(err)
		}
	}
}

func (b *bench) job(reread bool, patience time.Duration) Job {
	j := Job{Label: "A003", SourcePath: b.card, Source: guard.Volume{Mount: b.card, Disk: "card", Simulated: !b.devices}, Listing: b.listing,
		Reread: reread, Patience: patience}
	for i, d := range b.drives {
		name := fmt.Sprintf("DRIVE%d", i+1)
		j.Targets = append(j.Targets, Target{Name: name, Path: d, Folder: "roll", Volume: guard.Volume{Mount: d, Disk: name, Simulated: !b.devices}})
	}
	return j
}

func (b *bench) run(f *randomFault, reread bool, patience time.Duration) (guard.Proof, []*guard.Error) {
	f.let = make(chan struct{})
	b.fsys.Set(f.hooks())
	p, errs := Run(b.t.Context(), b.job(reread, patience), nil)
	close(f.let)
	b.fsys.Set(faultfs.Hooks{})
	return p, errs
}

// draw chooses a fault. A card's bits are flipped only where it is read twice: in one reading nothing can tell.
func (b *bench) draw() (f *randomFault, reread bool) {
	f = &randomFault{bit: b.rng.IntN(1 << 20), lasting: b.rng.IntN(2) == 0, act: actError}
	errnos := []syscall.Errno{syscall.EIO, syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EACCES, syscall.EPERM, syscall.ENODEV,
		syscall.ENOTCONN, syscall.EINVAL, syscall.EBUSY, syscall.EFBIG, syscall.ENOENT, syscall.ENOMEM, syscall.ENXIO, syscall.ESTALE,
		syscall.ENAMETOOLONG, syscall.EILSEQ, syscall.EEXIST, syscall.ENOTDIR, syscall.EMFILE, syscall.ETIMEDOUT, syscall.EREMOTEIO, syscall.ENODATA}
	f.errno = errnos[b.rng.IntN(len(errnos))]
	kinds := []int{callRead, callRead, callWrite, callWrite, callFsync, callCreate, callRename, callLookup, callOpen, callClose, callList, callMake,
		callAttributes, callAllocate}
	if b.onCard {
		kinds = []int{callRead, callRead, callRead, callRead, callLookup, callOpen, callClose, callList}
	}
	f.call = kinds[b.rng.IntN(len(kinds))]
	switch n := b.rng.IntN(100); {
	case n == 0:
		f.act = actHang
	case n < 40 && f.call == callRead:
		f.act, reread = actFlip, b.onCard
		f.lasting = f.lasting && !b.onCard // a card that lies the same way each time cannot be told by reading
	case n < 55 && f.call == callRead:
		f.act, reread = actLess, b.onCard
		f.lasting = f.lasting && !b.onCard // the system takes it for the file's end, and may show zeros behind it: bytes like any others
	case n < 30 && f.call == callWrite:
		f.act = actFlip
	case n < 60 && f.call == callWrite:
		f.act = actShort
	case n < 70 && f.call == callRead && b.onCard:
		f.act, f.lasting = actCard, false
		change := cardChange(b.real, b.rng)
		f.change = func() {
			if err := change(); err != nil {
				b.t.Error(err)
			}
		}
	}
	i := 0
	if reread {
		i = 1
	}
	f.at = 1 + b.rng.IntN(max(1, b.counted[i][f.call])) // what a job without a fault does not call, one after a fault may
	return f, reread
}

// cardChange gives one way in which a card may change while it is read.
func cardChange(dir string, rng *rand.Rand) func() error {
	name := filepath.Join(dir, []string{"A/one", "A/B/odd", "C/some", "C/large"}[rng.IntN(4)])
	ways := []func() error{
		func() error { return os.Truncate(name, int64(rng.IntN(3000000))) },
		func() error { return os.Remove(name) },
		func() error { return os.Chtimes(name, made, made.Add(time.Second)) },
		func() error { return os.WriteFile(filepath.Join(filepath.Dir(name), "new"), []byte("new"), 0o644) },
		func() error { return os.Rename(name, name+".moved") },
		func() error { return os.Mkdir(name+".folder", 0o755) },
		func() error { return errors.Join(os.Remove(name), os.Symlink("/etc/hostname", name)) },
		func() error { return errors.Join(os.Remove(name), os.Mkdir(name, 0o755)) },
		func() error { return errors.Join(os.Remove(name), unix.Mkfifo(name, 0o600)) },
	}
	return ways[rng.IntN(len(ways))]
}

// one plays one fault in one small job and judges what came of it.
func (b *bench) one() {
	f, reread := b.draw()
	patience := 20 * time.Second
	if f.act == actHang {
		patience = 150 * time.Millisecond
	}
	p, errs := b.run(f, reread, patience)
	if _, happened := f.seenSoFar(); !happened {
		b.clear()
		return
	}
	b.faults[callNames[f.call]+": "+f.act]++
	proven := 0
	for i := range p.Copies {
		ok := p.Proven(&p.Copies[i])
		if ok {
			proven++
			b.same(f, b.behind[i]+"/roll", p.Copies[i].Name)
			if late := otherTimes(b.behind[i] + "/roll"); len(late) > 0 {
				b.t.Errorf("%v: %s is proven, and %q have other times than on the card", f, p.Copies[i].Name, late)
			}
		}
		if !ok && !b.onCard && i == 0 {
			b.t.Errorf("%v: the other drive suffered: %v", f, errs)
		}
		b.onlyRight(f, i, ok)
	}
	switch {
	case proven < 2 && len(errs) == 0:
		b.t.Errorf("%v: %d copies are proven, and nothing is reported", f, proven)
	case proven == 2 && len(errs) == 0:
		b.harmless++
	}
	if f.act == actCard {
		if proven > 0 && b.changed() {
			b.t.Errorf("%v: the card changed, %d copies are proven; %v", f, proven, errs)
		}
		b.restore()
	} else if b.rng.IntN(16) == 0 {
		b.same(f, b.real, "the card")
	}
	b.clear()
}

// changed says whether the card is no longer what was listed (some changes leave it as it was).
func (b *bench) changed() bool {
	now := scanned(b.t, b.real)
	return fmt.Sprint(now.Files) != fmt.Sprint(b.listing.Files)
}

func (b *bench) restore() {
	entries, err := os.ReadDir(b.real)
	for _, e := range entries {
		if err == nil {
			err = os.RemoveAll(filepath.Join(b.real, e.Name()))
		}
	}
	if err != nil {
		b.t.Fatal(err)
	}
	b.fill()
	b.listing = scanned(b.t, b.card)
}

// same wants every file of the card, with its bytes, below dir.
func (b *bench) same(f *randomFault, dir, what string) {
	if lacking := allThere(dir); len(lacking) > 0 {
		b.t.Errorf("FALSE PROOF: %v: %s lacks %q or has other bytes", f, what, lacking)
	}
}

// onlyRight wants nothing on a drive but the card's files with their bytes, and temporary names. Wrong bytes may have got
// their names only if they were spoiled without a word, and then the copy is not proven.
func (b *bench) onlyRight(f *randomFault, i int, proven bool) {
	silent := f.act == actFlip && (b.onCard || i == 1 && f.call == callWrite)
	wrong, foreign := lookOver(b.behind[i])
	if len(wrong) > 0 && (proven || !silent) || len(foreign) > 0 {
		b.t.Errorf("%v: DRIVE%d has other bytes than the card's under %q, and %q from nowhere", f, i+1, wrong, foreign)
	}
}

// TestRandomFaults plays single random faults of a drive or a card in small offloads: each is harmless or reported, the
// other drive does not suffer, whatever counts as proven is what the card holds, and nothing else stands on the drives.
// TWOBIN_FAULTS sets how many (default 120, 40 in short mode), of which TestRandomFaultsOnVolumes has its share. The
// drives are folders in memory that play drives, since no memory counts as a device.
func TestRandomFaults(t *testing.T) {
	t.Parallel()
	total, _ := faultCount(t)
	var mu sync.Mutex
	faults, harmless, done := map[string]int{}, 0, 0
	var wg sync.WaitGroup
	for i := range 4 {
		b := newBench(t, uint64(i), i == 3)
		share := total / 4
		wg.Go(func() {
			for n := 0; n < share && !t.Failed(); {
				before := b.sum()
				b.one()
				n += b.sum() - before
			}
			mu.Lock()
			defer mu.Unlock()
			for k, n := range b.faults {
				faults[k] += n
				done += n
			}
			harmless += b.harmless
		})
	}
	wg.Wait()
	var kinds []string
	for _, k := range slices.Sorted(maps.Keys(faults)) {
		kinds = append(kinds, fmt.Sprintf("%s %d", k, faults[k]))
	}
	t.Logf("figure: random faults in small offloads = %d", done)
	t.Logf("%s; %d harmless", strings.Join(kinds, ", "), harmless)
}

func (b *bench) sum() (n int) {
	for _, k := range b.faults {
		n += k
	}
	return n
}
