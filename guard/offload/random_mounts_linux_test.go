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

// realFault is one fault of a real volume at one moment.
type realFault struct {
	realKind
	on       string // "drive ext4", and so on
	number   uint64
	spoil    spoil
	happened bool
	did      chan error // what came of the cause
}

func (f *realFault) String() string {
	return fmt.Sprintf("fault %d, %s: %s (%+v)", f.number, f.on, f.name, f.spoil)
}

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
	for _, at := range []string{b.drives[0], b.drives[1], b.card} {
		if at == b.spoiledAt() {
			continue
		}
		v := &volume{t: t, kind: kindExt4, img: filepath.Join(memoryDir(t), "image"), at: at}
		t.Cleanup(v.letGo)
		if at == b.card {
			v.restore(full[kindExt4])
		} else {
			v.restore(empty[kindExt4])
		}
		v.attach(v.img, 0)
		b.healthy = append(b.healthy, v)
	}
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

// good says whether a copy is as good as it can be: proven, or on exFAT whole.
func (b *mounts) good(p *guard.Proof, i int, kind string) bool {
	c := &p.Copies[i]
	if i == 1 && !b.onCard && kind == kindExfat {
		if p.Proven(c) {
			b.t.Errorf("FALSE PROOF: %s is proven, although nothing can be read past its cache", c.Name)
		}
		return c.Fault == "" && len(c.Back) == len(p.Files)
	}
	return p.Proven(c)
}

// one plays one fault in one small copy between real volumes and judges what came of it. False: it did not happen.
func (b *mounts) one(number uint64) bool {
	f, kind, reread := b.draw(number)
	v := b.fresh(kind)
	p, errs := b.play(f, v, reread)
	if f.missed(b.t) {
		b.finish(f, v)
		return false
	}
	b.faults[f.on+": "+f.name]++
	if failing := f.act == actGone || f.act == actError && f.spoil.Lasting; !failing || number%2 == 0 {
		b.store.order(spoil{}) // else it does not come back for the unmounting either
	}
	good := 0
	for i := range p.Copies {
		ok := b.good(&p, i, kind)
		if ok {
			good++
		} else if !b.onCard && i == 0 {
			b.t.Errorf("%v: the other drive suffered: %v", f, errs)
		}
		b.look(f, b.drives[i], i, ok, "right after")
	}
	switch {
	case good < 2 && len(errs) == 0:
		b.t.Errorf("%v: %d copies are good, and nothing is reported", f, good)
	case good == 2 && len(errs) == 0:
		b.harmless++
	}
	if f.name == "the card changed" && good > 0 && b.changed() {
		b.t.Errorf("%v: the card changed, %d copies are proven; %v", f, good, errs)
	}
	if !v.detach() {
		b.held++
	} else if f.name != "the card changed" {
		b.afterwards(f, v, b.good(&p, 1, kind))
	}
	b.finish(f, v)
	return true
}

// afterwards mounts the spoiled volume afresh, without the fault, as on the next day.
func (b *mounts) afterwards(f *realFault, v *volume, wasGood bool) {
	b.store.order(spoil{})
	v.attach(v.img, 0)
	if b.onCard {
		if lacking := allThere(v.at); len(lacking) > 0 {
			b.t.Errorf("%v: the card lacks %q", f, lacking)
		}
		return
	}
	b.look(f, v.at, 1, wasGood, "mounted afresh")
	if f.act != actError && f.act != actGone && f.name != "unmounted" && f.name != "shut down" {
		return
	}
	b.retried++
	p, errs := Run(b.t.Context(), b.job(false, 30*time.Second), nil)
	good := b.good(&p, 1, v.kind)
	if good {
		b.proven++
	} else {
		b.t.Errorf("%v: with the fault gone, the next run gives %v", f, errs)
	}
	b.look(f, v.at, 1, good, "after the next run")
}

// look wants the right files on a drive: all of them on a good one, no wrong and no foreign one in any case.
func (b *mounts) look(f *realFault, at string, i int, good bool, when string) {
	away := when == "right after" && (f.name == "unmounted" || f.name == "shut down" || f.act == actGone || f.spoil.Lasting)
	if good && !(away && i == 1) {
		if lacking := allThere(at + "/roll"); len(lacking) > 0 {
			b.t.Errorf("FALSE PROOF: %v: %s of DRIVE%d lacks %q or has other bytes", f, when, i+1, lacking)
		}
	}
	wrong, foreign := lookOver(at)
	if f.name == "a stranger takes a name" && i == 1 {
		wrong = slices.DeleteFunc(wrong, func(name string) bool {
			got, err := os.ReadFile(filepath.Join(at, "roll", name))
			return err == nil && string(got) == strangers
		})
	}
	if len(wrong) > 0 && (!f.lies || good) || len(foreign) > 0 {
		b.t.Errorf("%v: %s, DRIVE%d has other bytes than the card's under %q, and %q from nowhere", f, when, i+1, wrong, foreign)
	}
	if st := (unix.Stat_t{}); f.name == "unmounted" && !b.onCard && i == 1 && when == "right after" && unix.Stat(at+"/roll", &st) == nil {
		b.t.Errorf("%v: something was written into the folder of the system disk", f)
	}
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
