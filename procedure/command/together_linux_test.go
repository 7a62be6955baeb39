package command_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// rival begins another shift, of a home of its own, with the same card and the same drives, and works it up to the start.
func (s *station) rival(home string) *proc {
	p := run(s.tb, binary(s.tb), "shift", "--home", filepath.Join(s.dir, home), "--production", "Harbour Lights", "--day", "3", "--operator", "Sasha",
		"--station", "van", "--to", s.raid.at, "--to", s.shuttle.at, "--reader", s.card.at, "--brief")
	r := &station{tb: s.tb, dir: s.dir, p: p}
	r.setUp()
	p.ask("next", "arrived A001")
	p.ask("receive.from", "Robin")
	p.ask("receive.bin", "b")
	p.ask("next", "p")
	p.ask("pick.card", "A001")
	p.ask("pick.tape", "A001")
	p.ask("seat.tape", "t")
	return p
}

// hold takes a lock on a folder from a process of its own, as a twobin at work there has it, and gives its number.
func hold(tb testing.TB, dir string) (pid int, free func()) {
	tb.Helper()
	f, err := os.Open(dir)
	if err != nil {
		tb.Fatal(err)
	}
	deadline := time.Now().Add(10 * time.Second)
	for unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) != nil {
		if time.Now().After(deadline) {
			tb.Fatalf("%s cannot be locked", dir)
		}
		time.Sleep(10 * time.Millisecond)
	}
	return os.Getpid(), func() { _ = unix.Flock(int(f.Fd()), unix.LOCK_UN); _ = f.Close() }
}

// Two shifts of two homes see one card at the same time. The one that starts second is told which process has the card,
// copies nothing, and goes on when the first is through.
func TestTwoShiftsOneCard(t *testing.T) {
	s := newStation(t)
	p := s.rival("other")
	p.await("waiting for the card")
	s.card.mount()
	p.await("[start.go]")
	pid, free := hold(t, s.card.at) // the first one copies
	p.say("s")
	p.await(fmt.Sprintf("another process (number %d) works on the card", pid))
	if made, _ := filepath.Glob(filepath.Join(s.raid.at, "*/*/A/A001/*")); len(made) != 0 {
		t.Errorf("copied although the card was taken: %v", made)
	}
	free()
	p.exit()
	t.Log("figure: two at once, card = 1")
}

// Two shifts write the same roll to the same drive: the second is told which process works there.
func TestTwoShiftsOneDestination(t *testing.T) {
	s := newStation(t)
	p := s.rival("other")
	p.await("waiting for the card")
	s.card.mount()
	p.await("[start.go]")
	made := filepath.Join(s.raid.at, "Harbour_Lights", "day003_"+time.Now().Format(time.DateOnly), "A", "A001")
	if err := os.MkdirAll(made, 0o755); err != nil {
		t.Fatal(err)
	}
	pid, free := hold(t, made)
	defer free()
	p.say("s")
	p.await(fmt.Sprintf("another process (number %d) works on RAID", pid))
	if left, err := os.ReadDir(made); err != nil || len(left) != 0 {
		t.Errorf("written to a folder that another process works on: %v, %v", left, err)
	}
	p.exit()
	t.Log("figure: two at once, destination = 1")
}

// rivals are two whole processes on the station's drives, both at the start of a copy of its card.
func (s *station) rivals() (a, b *proc) {
	a, b = s.rival("other"), s.rival("third")
	a.await("waiting for the card")
	b.await("waiting for the card")
	s.card.mount()
	a.await("[start.go]")
	b.await("[start.go]")
	return a, b
}

// Two whole processes start on the same card at the same moment: whoever is second is told so, or finds the card free
// because the other is through; no copy is damaged.
func TestTwoShiftsRace(t *testing.T) {
	s := newStation(t)
	a, b := s.rivals()
	a.say("s")
	b.say("s")
	ends := 0
	for _, p := range []*proc{a, b} {
		l, ok := p.nextOf("[log.serial]", "another process (number ")
		if !ok {
			t.Fatalf("neither copies nor is told why not:\n%s", p.text())
		}
		if strings.Contains(l, "[log.serial]") {
			ends++
		}
	}
	if ends == 0 {
		t.Error("none of the two works")
	}
	s.wholeCopies(t)
	for _, p := range []*proc{a, b} {
		p.exit()
	}
	s.wholeCopies(t)
}

// Two whole processes, and the first is held up in the middle of its copy: the second is told its number, copies nothing,
// and the first goes on and proves what it began.
func TestTwoShiftsSecondIsToldWhoCopies(t *testing.T) {
	for range 5 { // the copy may be through before it is held up
		s := newStation(t)
		a, b := s.rivals()
		a.say("s")
		for end := time.Now().Add(20 * time.Second); !s.cardIsHeld(t, a) && time.Now().Before(end); {
			runtime.Gosched()
		}
		if err := a.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		held := s.cardIsHeld(t, a)
		if held {
			b.say("s")
			b.await(fmt.Sprintf("another process (number %d) works on the card", a.cmd.Process.Pid))
		}
		if err := a.cmd.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		if held {
			a.logCount("S-0117", "")
			a.await("[pull.desk]")
			s.wholeCopies(t)
			t.Log("figure: two at once, card = 1")
		}
		a.exit()
		b.exit()
		if held {
			return
		}
		s.card.umount()
		s.raid.umount()
		s.shuttle.umount()
	}
	t.Error("five copies were through before they could be held up: this test shows nothing")
}

// cardIsHeld says whether a process has the card's lock, without touching it: by /proc/locks (proc_locks(5)).
func (s *station) cardIsHeld(t *testing.T, p *proc) bool {
	t.Helper()
	var st unix.Stat_t
	raw, err := os.ReadFile("/proc/locks")
	if err := errors.Join(err, unix.Stat(s.card.at, &st)); err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf(" %d %02x:%02x:%d ", p.cmd.Process.Pid, unix.Major(st.Dev), unix.Minor(st.Dev), st.Ino)
	return strings.Contains(string(raw), want)
}

// wholeCopies: what has its final name on a drive has the card's bytes, whoever put it there and however far it came.
func (s *station) wholeCopies(t *testing.T) {
	t.Helper()
	for _, d := range []*disk{s.raid, s.shuttle} {
		for name, size := range cardFiles {
			for _, copied := range glob(t, filepath.Join(d.at, "*/*/A/A001", name)) {
				if got, err := os.ReadFile(copied); err != nil || !bytes.Equal(got, fileOf(name, size)) {
					t.Errorf("%s has its name and not its bytes: %d of %d, %v", copied, len(got), size, err)
				}
			}
		}
	}
}

// nextOf waits for a line with one of the texts.
func (p *proc) nextOf(wants ...string) (string, bool) {
	end := time.After(40 * time.Second)
	for {
		l, ok := p.nextLine(end)
		if !ok {
			return "", false
		}
		for _, w := range wants {
			if strings.Contains(l, w) {
				return l, true
			}
		}
	}
}
