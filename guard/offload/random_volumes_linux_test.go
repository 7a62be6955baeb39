package offload

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard/device"
)

// The kinds of file system of the small real volumes. exFAT comes through FUSE and is there only with its tools.
const (
	kindExt4  = "ext4"
	kindExfat = "exFAT"
)

// imageBytes is the length of a small volume's image: the card's files fit in it three times.
const imageBytes = 16 << 20

// The names and bytes of what the tests themselves put on a drive.
const (
	fillerName = "filler"
	strangers  = "a stranger's file"
)

// volume is a small real volume on a loop device.
type volume struct {
	t      *testing.T
	kind   string
	img    string // in memory
	device string // "" while detached
	at     string
	taken  string // a name that a stranger took
}

// newVolume makes a volume with a file system and nothing in it. It is not attached yet.
func newVolume(t *testing.T, kind, img, at string) *volume {
	t.Helper()
	v := &volume{t: t, kind: kind, img: img, at: at}
	if err := errors.Join(os.WriteFile(img, nil, 0o600), os.Truncate(img, imageBytes)); err != nil {
		t.Fatal(err)
	}
	if kind == kindExfat {
		command(t, "mkfs.exfat", img)
	} else {
		command(t, "mkfs.ext4", "-q", "-b", "4096", "-m", "0", "-N", "64", "-J", "size=4", "-E", "lazy_itable_init=0,lazy_journal_init=0,nodiscard", img)
	}
	t.Cleanup(v.letGo)
	return v
}

// picture is what an image holds: blocks by their place, without those of zeros.
type picture map[int64][]byte

// picture takes it of a detached volume.
func (v *volume) picture() picture {
	v.t.Helper()
	data, err := os.ReadFile(v.img)
	if err != nil {
		v.t.Fatal(err)
	}
	p, none := picture{}, make([]byte, device.Align)
	for off := 0; off < len(data); off += device.Align {
		if block := data[off : off+device.Align]; !bytes.Equal(block, none) {
			p[int64(off)] = block
		}
	}
	return p
}

// restore makes the image anew from a picture. A loop device that still has the old one keeps it.
func (v *volume) restore(p picture) {
	v.t.Helper()
	_ = os.Remove(v.img)
	f, err := os.Create(v.img)
	if err != nil {
		v.t.Fatal(err)
	}
	err = f.Truncate(imageBytes)
	for off, block := range p {
		if err == nil {
			_, err = f.WriteAt(block, off)
		}
	}
	if err := errors.Join(err, f.Close()); err != nil {
		v.t.Fatal(err)
	}
}

// attach mounts the image, reached by the given path, from a loop device that goes with its last user.
func (v *volume) attach(image string, flags uint32) {
	v.t.Helper()
	loop, err := attachLoop(image, flags|unix.LO_FLAGS_AUTOCLEAR)
	if err != nil {
		v.t.Fatalf("loop device: %v", err)
	}
	defer loop.Close()
	v.device = loop.Name()
	if v.kind == kindExfat {
		command(v.t, "mount.exfat-fuse", v.device, v.at)
	} else if err := unix.Mount(v.device, v.at, "ext4", 0, "errors=remount-ro"); err != nil {
		v.t.Fatalf("mount %s: %v", v.device, err)
	}
}

// attachLoop puts an image on a free loop device.
func attachLoop(image string, flags uint32) (*os.File, error) {
	img, err := os.OpenFile(image, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	defer img.Close()
	control, err := os.OpenFile("/dev/loop-control", os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	defer control.Close()
	for {
		n, err := unix.IoctlRetInt(int(control.Fd()), unix.LOOP_CTL_GET_FREE)
		if err != nil {
			return nil, err
		}
		loop, err := os.OpenFile(fmt.Sprintf("/dev/loop%d", n), os.O_RDWR, 0)
		if err != nil {
			return nil, err
		}
		config := unix.LoopConfig{Fd: uint32(img.Fd()), Info: unix.LoopInfo64{Flags: flags}}
		copy(config.Info.File_name[:], image)
		err = unix.IoctlLoopConfigure(int(loop.Fd()), &config)
		if err == nil {
			return loop, nil
		}
		_ = loop.Close()
		if !errors.Is(err, unix.EBUSY) { // else another process took it meanwhile
			return nil, err
		}
	}
}

// detach unmounts and says whether nothing holds the image any more. Handles that a stuck call kept go with the collector.
func (v *volume) detach() bool {
	v.t.Helper()
	if v.device == "" {
		return true
	}
	backing := "/sys/block/" + filepath.Base(v.device) + "/loop/backing_file"
	before, _ := os.ReadFile(backing)
	v.letGo()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.Now().Add(5 * time.Second); time.Now().Before(deadline); <-tick.C {
		if now, err := os.ReadFile(backing); err != nil || !bytes.Equal(now, before) {
			return true
		}
		runtime.GC()
	}
	return false
}

// letGo unmounts, by force if need be.
func (v *volume) letGo() {
	if v.device == "" {
		return
	}
	if err := unix.Unmount(v.at, 0); errors.Is(err, unix.EBUSY) {
		_ = unix.Unmount(v.at, unix.MNT_DETACH)
	}
	v.device = ""
}

// fill writes the small card's files.
func (v *volume) fill() {
	v.t.Helper()
	for _, name := range slices.Sorted(maps.Keys(smallCard)) {
		put(v.t, v.at, name, smallCard[name])
	}
	if err := os.Remove(v.at + "/lost+found"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		v.t.Fatal(err)
	}
}

// smallContents are the bytes of the small card's files, smallFolders its folders.
var smallContents = sync.OnceValue(func() map[string][]byte {
	all := map[string][]byte{}
	for name, size := range smallCard {
		all[name] = contents(name, size)
	}
	return all
})

var smallFolders = map[string]bool{"A": true, "A/B": true, "C": true}

// lookOver goes through a drive after a fault. wrong are the card's names under which other bytes than the card's stand,
// foreign is what is neither the card's nor a temporary name nor put there by a test. What cannot be read is not judged.
func lookOver(top string) (wrong, foreign []string) {
	_ = filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		rel, _ := filepath.Rel(top, path)
		below, inRoll := strings.CutPrefix(rel, "roll/")
		switch {
		case err != nil: // unreadable, or gone since it was listed
			return nil
		case rel == "lost+found":
			return fs.SkipDir
		case rel == "." || rel == "roll" && d.IsDir() || rel == fillerName || strings.HasPrefix(rel, fillerName+"-"):
		case d.IsDir():
			if !inRoll || !smallFolders[below] {
				foreign = append(foreign, rel)
			}
		case inRoll && d.Type().IsRegular() && device.IsTemp(d.Name()):
		default:
			want, known := smallContents()[below]
			if !inRoll || !known || !d.Type().IsRegular() {
				foreign = append(foreign, rel)
			} else if got, err := os.ReadFile(path); err == nil && !bytes.Equal(got, want) {
				wrong = append(wrong, below)
			}
		}
		return nil
	})
	return wrong, foreign
}

// allThere says which of the card's files do not stand in a roll's folder with their bytes.
func allThere(dir string) (lacking []string) {
	for name, want := range smallContents() {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(got, want) {
			lacking = append(lacking, name)
		}
	}
	return lacking
}

// otherTimes says which of the card's files do not stand in a roll's folder with their time.
func otherTimes(dir string) (late []string) {
	for name := range smallContents() {
		if fi, err := os.Stat(filepath.Join(dir, name)); err == nil && !fi.ModTime().Equal(made) {
			late = append(late, name)
		}
	}
	return late
}
