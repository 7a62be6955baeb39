package offload

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// mounts is a small card and two drives, all real volumes, of which one is spoiled: made anew for every fault, with its
// image in the fault file system, so that single requests of its device can be spoiled beneath its file system.
type mounts struct {
	bench
	seed            uint64
	role            string // "drive" or "card": which of them is spoiled
	kinds           []string
	store           *store
	healthy         []*volume
	pictures        map[string]picture    // of the spoiled volume before every fault, by kind
	requests        map[string][calls]int // of a copy without a fault, by what is spoiled
	retried, proven int
	held            int // volumes that something held on to, so that they could not be mounted afresh
}

// newMounts mounts what stays whole and counts the requests of a copy without a fault.
func newMounts(t *testing.T, seed uint64, role string) *mounts {
	t.Helper()
	needRoot(t)
	b := &mounts{seed: seed, role: role, kinds: []string{kindExt4}, requests: map[string][calls]int{}}
	b.bench = bench{t: t, onCard: role == "card", devices: true, faults: map[string]int{}}
	b.store = newStore(t)
	_, err1 := exec.LookPath("mkfs.exfat")
	_, err2 := exec.LookPath("mount.exfat-fuse")
	if err := errors.Join(err1, err2); err == nil {
		b.kinds = append(b.kinds, kindExfat)
	} else if os.Getenv("TWOBIN_TEST_ALL") != "" {
		t.Fatal(err)
	}
	empty, full := map[string]picture{}, map[string]picture{}
	for _, kind := range b.kinds {
		v := newVolume(t, kind, filepath.Join(memoryDir(t), "image"), t.TempDir())
		empty[kind] = v.picture()
		v.attach(v.img, 0)
		v.fill()
		if !v.detach() {
			t.Fatal("the card's volume does not come off")
		}
		full[kind] = v.picture()
	}
	b.pictures = empty
	if b.onCard {
		b.pictures = full
	}
	b.drives = [2]string{t.TempDir(), t.TempDir()}
	b.card = t.TempDir()
	b.behind, b.real = b.drives, b.card
	b.mountHealthy(empty, full)
	for _, kind := range b.kinds {
		v := b.fresh(kind)
		f := &realFault{}
		p, errs := b.play(f, v, false)
		if len(errs) != 0 || !b.good(&p, 0, "") || !b.good(&p, 1, kind) {
			t.Fatalf("without a fault, %s: %v", kind, errs)
		}
		b.requests[kind] = b.store.order(spoil{}).Seen
		b.finish(f, v)
	}
	return b
}

// mountHealthy mounts the two volumes that stay whole through all faults.
func (b *mounts) mountHealthy(empty, full map[string]picture) {
	b.t.Helper()
	for _, at := range []string{b.drives[0], b.drives[1], b.card} {
		if at == b.spoiledAt() {
			continue
		}
		v := &volume{t: b.t, kind: kindExt4, img: filepath.Join(memoryDir(b.t), "image"), at: at}
		b.t.Cleanup(v.letGo)
		if at == b.card {
			v.restore(full[kindExt4])
		} else {
			v.restore(empty[kindExt4])
		}
		v.attach(v.img, 0)
		b.healthy = append(b.healthy, v)
	}
}

// spoiledAt is where the spoiled volume is mounted.
func (b *mounts) spoiledAt() string {
	if b.onCard {
		return b.card
	}
	return b.drives[1]
}

// fresh makes and mounts the volume that will be spoiled, and lists the card.
func (b *mounts) fresh(kind string) *volume {
	b.t.Helper()
	b.store.order(spoil{})
	img, shown := b.store.image()
	v := &volume{t: b.t, kind: kind, img: img, at: b.spoiledAt()}
	v.restore(b.pictures[kind])
	b.t.Cleanup(v.letGo)
	v.attach(shown, unix.LO_FLAGS_DIRECT_IO)
	b.listing = scanned(b.t, b.card)
	return v
}

// draw chooses the fault of a number.
func (b *mounts) draw(number uint64) (f *realFault, kind string, reread bool) {
	b.rng = rand.New(rand.NewPCG(b.seed, number))
	kind = b.kinds[0]
	if len(b.kinds) > 1 && b.rng.IntN(4) == 0 {
		kind = b.kinds[1]
	}
	on := b.role + " " + kind
	f = &realFault{on: on, number: number, realKind: realKinds[on][b.rng.IntN(len(realKinds[on]))]}
	if f.act == actHang && b.rng.IntN(4) > 0 { // they take long
		f.realKind = realKinds[on][0]
	}
	f.spoil = spoil{Act: f.act, Bit: b.rng.IntN(1 << 20), Lasting: b.rng.IntN(2) == 0}
	if len(f.calls) > 0 {
		f.spoil.Call = f.calls[b.rng.IntN(len(f.calls))]
		f.spoil.At = 1 + b.rng.IntN(max(1, b.requests[kind][f.spoil.Call]))
	}
	if f.act == actFlip {
		reread = b.onCard
		f.spoil.Lasting = f.spoil.Lasting && !b.onCard // a card that lies the same way each time cannot be told by reading
	}
	if f.lies && !b.onCard {
		f.spoil.At = 1 + b.rng.IntN(len(smallBlocks())) // counted in blocks of files
	}
	return f, kind, reread
}

// play runs the copy with the fault.
func (b *mounts) play(f *realFault, v *volume, reread bool) (guard.Proof, []*guard.Error) {
	stop := make(chan struct{})
	f.did = make(chan error, 1)
	cause := func() { f.did <- f.cause(v, b.rng, stop) }
	if f.act == actBefore {
		cause()
	}
	patience := 30 * time.Second
	if f.act == actHang {
		patience = time.Second
	}
	b.store.onHit(func() { go cause() })
	b.store.order(f.spoil)
	p, errs := Run(b.t.Context(), b.job(reread, patience), nil)
	close(stop)
	f.happened = b.store.look().Happened || f.act == actBefore
	if f.act == actHang {
		b.store.order(spoil{})
	}
	return p, errs
}

// missed says that there was no fault after all.
func (f *realFault) missed(t *testing.T) bool {
	if f.happened && (f.act == actAside || f.act == actBefore) {
		switch err := <-f.did; {
		case errors.Is(err, errMissed), errors.Is(err, unix.ENOSPC):
			return true
		case err != nil:
			t.Errorf("%v: it could not be made: %v", f, err)
			return true
		}
	}
	return !f.happened
}

// finish lets the spoiled volume go and takes the copies off the others.
func (b *mounts) finish(f *realFault, v *volume) {
	b.t.Helper()
	b.store.order(spoil{})
	v.detach()
	for _, v := range b.healthy {
		if err := os.RemoveAll(v.at + "/roll"); err != nil {
			b.t.Fatalf("%v: %v", f, err)
		}
	}
}

// faultCount is how many random faults to play in folders, a multiple of four, and how many on real volumes.
func faultCount(t *testing.T) (inFolders, onVolumes int) {
	t.Helper()
	total := 120
	if testing.Short() {
		total = 40
	}
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_FAULTS")); err == nil {
		total = n
	}
	inFolders = max(0, total-max(10, total/20)) / 4 * 4
	return inFolders, total - inFolders
}

// TestRandomFaultsOnVolumes plays one in twenty of the random faults (10 at least) on real file systems: card and drives
// are ext4 or exFAT on loop devices in memory, and they are really full, read-only, unmounted, shut down, gone, or fail in
// single requests of their blocks. Whatever stands under a final name is the card's, also after the volume was mounted
// afresh; nothing else stands there; nothing is falsely proven. TWOBIN_FAULT_SEED=SEED draws others,
// TWOBIN_FAULT_SEED=SEED/NUMBER plays one fault again.
//
// It runs beside no other test: a process that is started while files of a file system served by this process are open
// may wait for this process.
func TestRandomFaultsOnVolumes(t *testing.T) {
	_, total := faultCount(t)
	seed, only := uint64(1), uint64(0)
	if text := os.Getenv("TWOBIN_FAULT_SEED"); text != "" {
		if _, err := fmt.Sscanf(text+"/0", "%d/%d", &seed, &only); err != nil {
			t.Fatal(err)
		}
	}
	var mu sync.Mutex
	faults := map[string]int{}
	t.Run("group", func(t *testing.T) {
		for role, share := range map[string]int{"drive": total - total/4, "card": total / 4} {
			t.Run(role, func(t *testing.T) {
				t.Parallel()
				b := newMounts(t, seed, role)
				for number := uint64(1); only == 0 && b.sum() < share && !t.Failed(); number++ {
					b.one(number)
				}
				if only > 0 {
					b.one(only)
				}
				t.Logf("seed %d; %d harmless; the next run was good in %d of %d; %d could not be mounted afresh", seed, b.harmless, b.proven, b.retried, b.held)
				mu.Lock()
				defer mu.Unlock()
				maps.Copy(faults, b.faults)
			})
		}
	})
	for on, kinds := range realKinds {
		for _, k := range kinds {
			if done := faults[on+": "+k.name]; total >= 400 && only == 0 && done == 0 && os.Getenv("TWOBIN_TEST_ALL") != "" {
				t.Errorf("%s: %s: it never happened", on, k.name)
			}
		}
	}
	done := 0
	var kinds []string
	for _, k := range slices.Sorted(maps.Keys(faults)) {
		done += faults[k]
		kinds = append(kinds, fmt.Sprintf("%s %d", k, faults[k]))
	}
	t.Logf("figure: random faults in small offloads = %d", done)
	t.Logf("figure: of them on real file systems = %d", done)
	t.Logf("%s", strings.Join(kinds, ", "))
}
