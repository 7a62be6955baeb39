package practice

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard/watch"
	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/dummy"
	"twobin/training/world"
)

// loopCard is a real volume: a file system in an image behind a loop device.
type loopCard struct {
	t                     testing.TB
	image, loop, at, kind string
	mounted               bool
	aside                 []string // the program that serves the file system, where the kernel does not know it
}

// asides are the programs that serve a file system outside the kernel, with what stands before volume and folder.
var asides = map[string][]string{"exfat": {"mount.exfat-fuse"}, "vfat": {"fusefat", "-o", "rw+"}}

// newLoopCard makes the file system; it is not mounted yet. at is where it will be.
func newLoopCard(t testing.TB, kind, at string) *loopCard {
	t.Helper()
	if testing.Short() {
		t.Skip("mounts and flushes: not in -short")
	}
	lacks := ""
	if os.Geteuid() != 0 {
		lacks = "root"
	}
	tools, aside := []string{"mkfs." + kind, "losetup"}, []string(nil)
	if known, err := os.ReadFile("/proc/filesystems"); err != nil || !bytes.Contains(known, []byte("\t"+kind+"\n")) {
		if aside = asides[kind]; aside == nil {
			t.Skipf("lacks %s in the kernel", kind)
		}
		tools = append(tools, aside[0])
	}
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err != nil {
			lacks = tool
		}
	}
	if lacks != "" {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatal(lacks + " is lacking")
		}
		t.Skip("lacks " + lacks)
	}
	c := &loopCard{t: t, image: filepath.Join(scratch(t), kind+".img"), at: at, kind: kind, aside: aside}
	if err := os.WriteFile(c.image, make([]byte, 16<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	mkfs := []string{"mkfs." + kind, c.image}
	if kind == "ext4" { // nothing left to be written by the kernel later, by itself
		mkfs = []string{"mkfs.ext4", "-q", "-O", "^has_journal", "-E", "lazy_itable_init=0", c.image}
	}
	for _, cmd := range [][]string{mkfs, {"losetup", "-f", "--show", c.image}} {
		out, err := exec.Command(cmd[0], cmd[1:]...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %v %s", cmd, err, out)
		}
		c.loop = strings.TrimSpace(string(out))
	}
	t.Cleanup(func() {
		if c.mounted {
			_ = unix.Unmount(c.at, unix.MNT_DETACH)
		}
		if out, err := exec.Command("losetup", "-d", c.loop).CombinedOutput(); err != nil {
			t.Errorf("losetup -d: %v %s", err, out)
		}
	})
	return c
}

// seat mounts or unmounts.
func (c *loopCard) seat(in bool) {
	c.t.Helper()
	if in == c.mounted {
		return
	}
	var err error
	switch {
	case in && c.aside != nil:
		err = exec.Command(c.aside[0], append(slices.Clone(c.aside[1:]), c.loop, c.at)...).Run()
	case in:
		err = unix.Mount(c.loop, c.at, c.kind, unix.MS_NOATIME, "")
	default:
		err = unix.Unmount(c.at, 0)
	}
	if err != nil {
		c.t.Fatalf("seat %v: %v", in, err)
	}
	c.mounted = in
}

// bytes are what the mounted volume's image holds now, all of it flushed. The superblock is left out: the kernel keeps
// the time of the last flush in it.
func (c *loopCard) bytes() []byte {
	c.t.Helper()
	f, err := os.Open(c.at)
	if err == nil {
		err = errors.Join(unix.Syncfs(int(f.Fd())), f.Close())
	}
	if err != nil {
		c.t.Fatal(err)
	}
	b, err := os.ReadFile(c.image)
	if err != nil {
		c.t.Fatal(err)
	}
	const at, size = 1024, 1024 // ext4(5), "superblock"
	clear(b[at : at+size])
	return b
}

// put writes a file onto the mounted volume.
func (c *loopCard) put(name, text string) {
	c.t.Helper()
	if err := os.WriteFile(filepath.Join(c.at, name), []byte(text), 0o644); err != nil {
		c.t.Fatal(err)
	}
}

func (c *loopCard) prepare() {
	c.t.Helper()
	if _, err := dummy.Prepare(c.t.Context(), c.at, dummy.Roll{Label: "A001", Shape: dummy.Frames, Seed: 4}); err != nil {
		c.t.Fatal(err)
	}
}

// A drill with erases works on real file systems that are mounted and unmounted as a card is seated and pulled, and the
// card can be used again after it, by the same drill.
func TestDrillOnARealCard(t *testing.T) {
	for _, kind := range []string{"vfat", "exfat", "ext4"} { // two that cameras use, and one with a folder of its own
		t.Run(kind, func(t *testing.T) {
			c := newLoopCard(t, kind, scratch(t))
			c.seat(true)
			c.prepare()
			for _, seed := range []int64{2, 1} { // with incidents, and a quiet one
				synctest.Test(t, func(t *testing.T) {
					o := setup(t, "erase", seed)
					o.Card, o.Ident = c.at, &watch.Identifier{}
					r, _ := playHands(t, o, Habits{}, c.seat)
					if r.Outcome != drill.Passed || len(r.Findings) == 0 && seed == 2 {
						t.Errorf("%s", tell(r))
					}
				})
				c.seat(true)
				if err := dummy.Usable(c.at); err != nil {
					t.Errorf("the card cannot be used again: %v", err)
				}
			}
		})
	}
}

// A volume without the marker is never touched: not at the beginning, and not when it is seated in the middle of a
// drill. Neither is a practice card that holds something else. Shown by comparing the whole image, byte for byte.
func TestUnmarkedVolumeIsNeverTouched(t *testing.T) {
	at := scratch(t)
	marked, plain, mixed := newLoopCard(t, "ext4", at), newLoopCard(t, "ext4", at), newLoopCard(t, "ext4", at)
	plain.seat(true)
	plain.put("A001C001.mov", "footage")
	plain.seat(false)
	mixed.seat(true)
	mixed.prepare()
	mixed.put("B001C001.mov", "footage")
	mixed.seat(false)
	marked.seat(true)
	marked.prepare()
	marked.seat(false)

	for name, c := range map[string]*loopCard{"plain": plain, "mixed": mixed} {
		c.seat(true)
		before := c.bytes()
		o := setup(t, drill.FirstRoll, 1)
		o.Card, o.Ident = at, &watch.Identifier{}
		if s, err := Start(t.Context(), o); err == nil {
			t.Errorf("%s: a drill begins on it", name)
			_, _ = s.End()
		}
		if !bytes.Equal(before, c.bytes()) {
			t.Errorf("%s: the refused volume has changed", name)
		}
		c.seat(false)

		marked.seat(true)
		synctest.Test(t, func(t *testing.T) { seatForeign(t, c, marked, at) })
		marked.seat(false)
	}
}

// seatForeign begins a drill with the marked card, and seats another volume when the card is asked for. The drill waits
// for ever, says so, and leaves the volume as it is.
func seatForeign(t *testing.T, c, marked *loopCard, at string) {
	o := setup(t, drill.FirstRoll, 1)
	o.Card, o.Ident = at, &watch.Identifier{}
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	marked.seat(false)
	p := NewPlayer(s, Habits{})
	for n := 0; !s.CardInReader(); n++ {
		if n > 200 {
			t.Fatal("no card is asked for")
		}
		turn(t, s, p, func(bool) {})
	}
	c.seat(true)
	before := c.bytes()
	for range 20 {
		turn(t, s, p, func(bool) {})
		time.Sleep(3 * time.Second)
	}
	if said := strings.Join(s.View().World, "\n"); !strings.Contains(said, "left alone") {
		t.Errorf("nobody says what is wrong: %s", said)
	}
	if s.Shift().InLane(1).Seated != nil {
		t.Error("the volume was taken for the card")
	}
	if err := s.Do(t.Context(), procedure.DoQuit{}); err != nil {
		t.Error(err)
	}
	if _, err := s.End(); err != nil {
		t.Error(err)
	}
	if !bytes.Equal(before, c.bytes()) {
		t.Error("the volume has changed")
	}
	c.seat(false)
	if err := world.UsableCard(at, o.Ident); err == nil {
		t.Error("nothing is mounted, and yet there is a card")
	}
}
