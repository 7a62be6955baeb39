package command_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestFurtherCopyBesideAShift: `twobin copy` of a roll of the shift that is at work in another process. The shift takes the
// copy itself; from then on the lock asks for it too, and nothing waits on the shelf.
func TestFurtherCopyBesideAShift(t *testing.T) {
	s := newStation(t)
	s.begin()
	p := s.p
	s.toGreen()
	p.await("[next]")
	post := newDisk(t, s.dir, "post", 96)
	post.mount()
	if got := sh(t, binary(t), "copy", "A001", "--to", post.at, "--home", s.home); !strings.Contains(got, "left for the shift that is at work") {
		t.Errorf("copy: %s", got)
	}
	p.await("A001: a further proven copy counts, on post.")
	left, err := os.ReadDir(filepath.Join(s.home, "further"))
	if err != nil || len(left) != 0 {
		t.Errorf("on the shelf: %v, %v, want nothing", left, err)
	}
	out, err := exec.Command(binary(t), "lock", "A001", "--home", s.home).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "L1") {
		t.Errorf("the lock does not ask for a look at the new drive: %v\n%s", err, out)
	}
	// The same copy again changes nothing.
	if got, _ := exec.Command(binary(t), "copy", "A001", "--to", post.at, "--home", s.home).CombinedOutput(); !strings.Contains(string(got), "counts already") {
		t.Errorf("copied once more: %s", got)
	}
	p.say("quit")
}
