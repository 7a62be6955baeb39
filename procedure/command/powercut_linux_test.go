package command_test

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// cut is what a power cut at one moment leaves: the drive's image, and the journal as it was just before.
type cut struct {
	img     string
	proven  bool // the journal said so
	copying bool // it said that the copy had begun, before and after, and not yet how it ended
}

// copySparse copies an image without its empty blocks.
func copySparse(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	defer out.Close()
	buf, zero := make([]byte, 1<<16), make([]byte, 1<<16)
	for off := int64(0); ; off += int64(len(buf)) {
		n, err := in.ReadAt(buf, off)
		if n > 0 && !bytes.Equal(buf[:n], zero[:n]) {
			if _, err := out.WriteAt(buf[:n], off); err != nil {
				return err
			}
		}
		if err == io.EOF {
			return out.Truncate(off + int64(n))
		}
		if err != nil {
			return err
		}
	}
}

// copyState is how far the journal says that A001's copy is.
func (r *robot) copyState() (procedure.CopyState, error) {
	names, err := filepath.Glob(filepath.Join(r.home, "journals", "*.jsonl"))
	if err != nil || len(names) != 1 {
		return procedure.CopyNone, err
	}
	ls, _, err := journal.ReadFile(names[0])
	if err != nil {
		return procedure.CopyNone, err
	}
	s, _, err := procedure.Fold(ls)
	if roll := s.Roll("A001"); err == nil && roll != nil {
		return roll.Copy, nil
	}
	return procedure.CopyNone, err
}

// takeCuts stops the program again and again for a moment and copies what the loop device has of the drive, until stop:
// about half of the cuts quickly in the middle of the copy, nearly all others after it.
func (r *robot) takeCuts(stop <-chan struct{}, most int, rng *rand.Rand) (cuts []cut, err error) {
	midway := 0
	for len(cuts) < most {
		state, err := r.copyState()
		if err != nil {
			return cuts, err
		}
		pause, now := rng.IntN(60_000), true
		switch {
		case state == procedure.CopyNone: // there is little of this roll on the drive
			pause, now = 3000, rng.IntN(200) == 0
		case state == procedure.CopyRunning:
			pause, now = rng.IntN(8000), midway < (most+1)/2
		}
		select {
		case <-stop:
			return cuts, nil
		case <-time.After(time.Duration(pause) * time.Microsecond):
		}
		if !now {
			continue
		}
		c, err := r.cut(fmt.Sprintf("%s.cut%d", r.raid.img, len(cuts)))
		if err != nil {
			return cuts, err
		}
		if c.copying {
			midway++
		}
		cuts = append(cuts, c)
	}
	return cuts, nil
}

// cut copies the drive's image while the program stands still. The journal is read first: what it acknowledges by then
// has to be in the image; and once more after it, so that a cut counts as one in the middle only if the copy still ran.
func (r *robot) cut(img string) (cut, error) {
	_ = r.p.cmd.Process.Signal(syscall.SIGSTOP)
	defer func() { _ = r.p.cmd.Process.Signal(syscall.SIGCONT) }()
	before, err := r.copyState()
	if err != nil {
		return cut{}, err
	}
	if err := copySparse(r.raid.img, img); err != nil {
		return cut{}, err
	}
	after, err := r.copyState()
	return cut{img: img, proven: before == procedure.CopyIsProven, copying: before == procedure.CopyRunning && after == before}, err
}

// check mounts a cut's image afresh: what has its final name is whole, and what the journal called proven is all there.
func (c cut) check(t *testing.T, dir string) (files int) {
	t.Helper()
	at := filepath.Join(dir, "afresh")
	_ = os.Mkdir(at, 0o755) // may be there from the last cut
	loop := sh(t, "losetup", "-f", "--show", c.img)
	defer func() { _ = exec.Command("losetup", "-d", loop).Run() }()
	sh(t, "mount", loop, at)
	defer sh(t, "umount", at)
	for name, size := range cardFiles {
		found, _ := filepath.Glob(filepath.Join(at, "*/*/A/A001", name))
		if len(found) == 0 {
			if c.proven {
				t.Errorf("the journal called A001 proven, and after a power cut %s is not there", name)
			}
			continue
		}
		got, err := os.ReadFile(found[0])
		if err != nil || !bytes.Equal(got, fileOf(name, size)) {
			t.Errorf("%s has its name and not its bytes: %d of %d, %v", name, len(got), size, err)
		}
		files++
	}
	return files
}

// Power cuts of a drive at random moments of whole shifts: the image that the loop device holds is copied and mounted
// afresh. TWOBIN_CUTS sets how many (default 8). What a drive loses of its own cache is TestPowerCut of guard/offload.
func TestInvariant8PowerCutsOfADrive(t *testing.T) {
	total := 8
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_CUTS")); err == nil {
		total = n
	}
	rng := rand.New(rand.NewPCG(uint64(total), 9))
	done, proven, copying, whole, some := 0, 0, 0, 0, 0
	for done < total {
		r := &robot{station: newStation(t)}
		r.begin()
		stop := make(chan struct{})
		var cuts []cut
		var err error
		ended := make(chan struct{})
		go func() { cuts, err = r.takeCuts(stop, min(total-done, 24), rng); close(ended) }()
		r.work(60*time.Second, -1, 0)
		close(stop)
		<-ended
		if err != nil {
			t.Fatal(err)
		}
		r.p.exit()
		for _, c := range cuts {
			n := c.check(t, r.dir)
			switch {
			case n == len(cardFiles):
				whole++
			case n > 0:
				some++
			}
			if c.proven {
				proven++
			}
			if c.copying {
				copying++
			}
			if err := os.Remove(c.img); err != nil {
				t.Fatal(err)
			}
		}
		done += len(cuts)
		r.raid.umount()
		r.shuttle.umount()
	}
	t.Logf("figure: power cuts of a drive in a shift = %d", done)
	t.Logf("figure: of them in the middle of the copy = %d", copying)
	t.Logf("figure: of them after the journal said proven = %d", proven)
	t.Logf("%d with all files under their names, %d with some", whole, some)
}
