package offload

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"

	"golang.org/x/sys/unix"
)

// What a fault of a real volume does, besides those of a random fault.
const (
	actGone   = "gone"   // every request from one on fails
	actForget = "forget" // a block of a file is taken and not kept
	actAside  = "aside"  // something is done to the volume while the copy goes on
	actBefore = "before" // or before it begins
)

// realKind is one thing that happens to a real volume.
type realKind struct {
	name  string
	act   string
	calls []int // the requests of the device that it may come with
	// cause makes it happen, for actAside until stop is closed at the latest.
	cause func(v *volume, rng *rand.Rand, stop <-chan struct{}) error
	// lies: wrong bytes may get their names, since nothing said so while they were written.
	lies bool
	// rewrites: the same may happen since a file system reads a block before it changes a part of it, such as the end of a
	// file, and writes back what it read.
	rewrites bool
}

var (
	anyCall  = []int{callRead, callWrite, callFsync}
	cardCall = []int{callRead}
	exfatAny = []int{callRead, callWrite}
)

// realKinds are the faults by what carries the spoiled volume. What is written to exFAT stays in a cache here, so that no
// copy on it is ever proven and errors of its device come to no one: there the faults are those of the volume as a whole.
var realKinds = map[string][]realKind{
	"drive " + kindExt4: {
		{name: "a write fails", act: actError, calls: []int{callWrite}},
		{name: "a read fails", act: actError, calls: []int{callRead}},
		{name: "a flush fails", act: actError, calls: []int{callFsync}},
		{name: "the device is gone", act: actGone, calls: anyCall},
		{name: "the device hangs", act: actHang, calls: anyCall},
		{name: "a bit flips when read", act: actFlip, calls: []int{callRead}, rewrites: true},
		{name: "a bit flips when written", act: actFlip, calls: []int{callWrite}, lies: true},
		{name: "forgets what it was given", act: actForget, calls: []int{callWrite}, lies: true},
		{name: "hardly any room", act: actBefore, cause: leaveRoom},
		{name: "becomes full", act: actAside, calls: anyCall, cause: leaveRoom},
		{name: "hardly any inodes", act: actBefore, cause: leaveInodes},
		{name: "an error turns it read-only", act: actAside, calls: anyCall, cause: triggerError},
		{name: "remounted read-only", act: actAside, calls: anyCall, cause: remountReadOnly},
		{name: "unmounted", act: actAside, calls: anyCall, cause: unmountLazily},
		{name: "shut down", act: actAside, calls: anyCall, cause: shutDown},
		{name: "a folder made immutable", act: actAside, calls: anyCall, cause: makeImmutable},
		{name: "a stranger takes a name", act: actAside, calls: anyCall, cause: takeName},
	},
	"drive " + kindExfat: {
		{name: "hardly any room", act: actBefore, cause: leaveRoom},
		{name: "becomes full", act: actAside, calls: exfatAny, cause: leaveRoom},
		{name: "unmounted", act: actAside, calls: exfatAny, cause: unmountLazily},
		{name: "a stranger takes a name", act: actAside, calls: exfatAny, cause: takeName},
	},
	"card " + kindExt4: {
		{name: "a read fails", act: actError, calls: cardCall},
		{name: "the device is gone", act: actGone, calls: cardCall},
		{name: "the device hangs", act: actHang, calls: cardCall},
		{name: "a bit flips when read", act: actFlip, calls: cardCall, lies: true},
		{name: "unmounted", act: actAside, calls: cardCall, cause: unmountLazily},
		{name: "shut down", act: actAside, calls: cardCall, cause: shutDown},
		{name: "the card changed", act: actBefore, cause: cardChanged},
	},
	"card " + kindExfat: {
		{name: "a read fails", act: actError, calls: cardCall},
		{name: "the device is gone", act: actGone, calls: cardCall},
		{name: "the device hangs", act: actHang, calls: cardCall},
		{name: "unmounted", act: actAside, calls: cardCall, cause: unmountLazily},
	},
}

// errMissed: the fault came too early or too late for there to be anything to do it to.
var errMissed = errors.New("nothing to do it to")

// leaveRoom fills the volume up but for some bytes.
func leaveRoom(v *volume, rng *rand.Rand, _ <-chan struct{}) error {
	room := rng.Int64N(2_400_000)
	var st unix.Statfs_t
	if err := unix.Statfs(v.at, &st); err != nil {
		return err
	}
	f, err := os.Create(filepath.Join(v.at, fillerName))
	if err != nil {
		return err
	}
	defer f.Close()
	size := max(int64(st.Bavail)*st.Bsize-room, 1)
	if unix.Fallocate(int(f.Fd()), 0, 0, size) == nil {
		return nil
	}
	block := make([]byte, 256<<10)
	for ; size > 0; size -= int64(len(block)) {
		if _, err := f.Write(block[:min(size, int64(len(block)))]); errors.Is(err, unix.ENOSPC) {
			return nil // the copy took the room meanwhile
		} else if err != nil {
			return err
		}
	}
	return nil
}

// leaveInodes makes files until few more can be made.
func leaveInodes(v *volume, rng *rand.Rand, _ <-chan struct{}) error {
	var st unix.Statfs_t
	if err := unix.Statfs(v.at, &st); err != nil {
		return err
	}
	for i := range int(st.Ffree) - rng.IntN(12) {
		if err := os.WriteFile(fmt.Sprintf("%s/%s-%d", v.at, fillerName, i), nil, 0o600); err != nil {
			return err
		}
	}
	return nil
}

// triggerError makes the file system find an error in itself; it is mounted so that it turns read-only then.
func triggerError(v *volume, _ *rand.Rand, _ <-chan struct{}) error {
	return os.WriteFile("/sys/fs/ext4/"+filepath.Base(v.device)+"/trigger_fs_error", []byte("test"), 0)
}

// remountReadOnly is allowed only while no file is open for writing.
func remountReadOnly(v *volume, _ *rand.Rand, stop <-chan struct{}) error {
	for {
		err := unix.Mount("", v.at, "", unix.MS_REMOUNT|unix.MS_RDONLY, "")
		if !errors.Is(err, unix.EBUSY) {
			return err
		}
		select {
		case <-stop:
			return errMissed
		default:
			runtime.Gosched()
		}
	}
}

func unmountLazily(v *volume, _ *rand.Rand, _ <-chan struct{}) error {
	return unix.Unmount(v.at, unix.MNT_DETACH)
}

// shutDown is what ext4 does when its device goes: FS_IOC_SHUTDOWN with everything flushed, the log flushed, or nothing.
// Numbers from the kernel's ext4.h.
func shutDown(v *volume, rng *rand.Rand, _ <-chan struct{}) error {
	dir, err := os.Open(v.at)
	if err != nil {
		return err
	}
	defer dir.Close()
	return unix.IoctlSetPointerInt(int(dir.Fd()), 0x8004587d, rng.IntN(3))
}

func makeImmutable(v *volume, rng *rand.Rand, _ <-chan struct{}) error {
	dir := filepath.Join(v.at, []string{"roll", "roll/A", "roll/A/B", "roll/C"}[rng.IntN(4)])
	if _, err := os.Stat(dir); err != nil {
		return errMissed
	}
	return exec.Command("chattr", "+i", dir).Run()
}

// takeName puts a file where the copy wants to put one.
func takeName(v *volume, rng *rand.Rand, _ <-chan struct{}) error {
	name := filepath.Join("roll", []string{"A/one", "A/empty", "A/B/odd", "C/some", "C/large", "limit"}[rng.IntN(6)])
	f, err := os.OpenFile(filepath.Join(v.at, name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return errMissed
	}
	v.taken = name
	_, err = f.WriteString(strangers)
	return errors.Join(err, f.Close())
}

// cardChanged changes the card after it was listed.
func cardChanged(v *volume, rng *rand.Rand, _ <-chan struct{}) error {
	return cardChange(v.at, rng)()
}

// realFault is one fault of a real volume at one moment.
type realFault struct {
	realKind
	on       string // "drive ext4", and so on
	number   uint64
	spoil    spoil
	happened bool
	did      chan error // what came of the cause
	taken    string     // the name that a stranger took
}

func (f *realFault) String() string {
	return fmt.Sprintf("fault %d, %s: %s (%+v)", f.number, f.on, f.name, f.spoil)
}
