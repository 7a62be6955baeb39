package command_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// disk is one ext4 image on a loop device.
type disk struct {
	tb      testing.TB
	img, at string
	loop    string
	mounted bool
}

func newDisk(tb testing.TB, dir, name string, mib int64) *disk {
	tb.Helper()
	// In memory: only there is each image a device of its own.
	shm, err := os.MkdirTemp("/dev/shm", "twobin-test-")
	if err != nil {
		need(tb, "/dev/shm")
	}
	tb.Cleanup(func() { _ = os.RemoveAll(shm) })
	d := &disk{tb: tb, img: filepath.Join(shm, name+".img"), at: filepath.Join(dir, name)}
	f, err := os.Create(d.img)
	if err == nil {
		err = f.Truncate(mib << 20)
	}
	if err == nil {
		err = f.Close()
	}
	if err == nil {
		err = os.Mkdir(d.at, 0o755)
	}
	if err != nil {
		tb.Fatal(err)
	}
	sh(tb, "mkfs.ext4", "-q", "-L", strings.ToUpper(name), d.img)
	d.loop = sh(tb, "losetup", "-f", "--show", d.img)
	tb.Cleanup(func() {
		if d.mounted {
			_ = exec.Command("umount", "-l", d.at).Run()
		}
		_ = exec.Command("losetup", "-d", d.loop).Run()
	})
	return d
}

func (d *disk) mount() {
	d.tb.Helper()
	sh(d.tb, "mount", d.loop, d.at)
	d.mounted = true
}

func (d *disk) umount() {
	d.tb.Helper()
	sh(d.tb, "umount", d.at)
	d.mounted = false
}

// proc is the real program in plain mode behind pipes.
type proc struct {
	tb   testing.TB
	cmd  *exec.Cmd
	in   io.WriteCloser
	mu   sync.Mutex
	all  []string
	seen int
	more chan struct{}
	done chan error
}

func run(tb testing.TB, bin string, args ...string) *proc {
	tb.Helper()
	p := &proc{tb: tb, cmd: exec.Command(bin, args...), more: make(chan struct{}), done: make(chan error, 1)}
	var err error
	if p.in, err = p.cmd.StdinPipe(); err != nil {
		tb.Fatal(err)
	}
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		tb.Fatal(err)
	}
	p.cmd.Stderr = p.cmd.Stdout
	if err := p.cmd.Start(); err != nil {
		tb.Fatal(err)
	}
	go func() {
		sc := bufio.NewScanner(out)
		for sc.Scan() {
			p.mu.Lock()
			p.all = append(p.all, sc.Text())
			close(p.more)
			p.more = make(chan struct{})
			p.mu.Unlock()
		}
		p.done <- p.cmd.Wait()
	}()
	tb.Cleanup(func() { _ = p.cmd.Process.Kill() })
	return p
}

func (p *proc) text() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.all, "\n")
}

func (p *proc) await(want string) string {
	p.tb.Helper()
	deadline := time.After(40 * time.Second)
	for {
		p.mu.Lock()
		for i := p.seen; i < len(p.all); i++ {
			if strings.Contains(p.all[i], want) {
				p.seen = i + 1
				l := p.all[i]
				p.mu.Unlock()
				return l
			}
		}
		more := p.more
		p.mu.Unlock()
		select {
		case <-more:
		case <-deadline:
			p.tb.Fatalf("no line with %q came. All output:\n%s", want, p.text())
		}
	}
}

func (p *proc) say(ls ...string) {
	p.tb.Helper()
	for _, l := range ls {
		if _, err := io.WriteString(p.in, l+"\n"); err != nil {
			p.tb.Fatal(err)
		}
	}
}

func (p *proc) ask(id, answer string) string {
	p.tb.Helper()
	l := p.await("[" + id + "]")
	p.say(answer)
	return l
}

// exit ends the input and gives the exit code.
func (p *proc) exit() int {
	p.tb.Helper()
	_ = p.in.Close()
	select {
	case <-p.done:
	case <-time.After(30 * time.Second):
		p.tb.Fatalf("the program does not end. All output:\n%s", p.text())
	}
	return p.cmd.ProcessState.ExitCode()
}

// station is a card and two drives on loop devices, mounted and unmounted as an operator would.
type station struct {
	tb                  testing.TB
	dir, home           string
	card, raid, shuttle *disk
	p                   *proc
}

// cardFiles are the names and lengths on the station's card, fileOf their bytes.
var cardFiles = map[string]int{"CLIPS/A001C001_R4KQ.mov": 9 << 20, "CLIPS/A001C002_M2ZT.mov": 5 << 20, "CLIPS/A001C002_M2ZT.xml": 700, "notes.txt": 40}

func fileOf(name string, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i*31 + i>>8 + len(name))
	}
	return b
}

func newStation(tb testing.TB) *station {
	tb.Helper()
	if os.Getuid() != 0 {
		need(tb, "root (loop devices)")
	}
	needTools(tb, "losetup", "mkfs.ext4", "mount", "umount", "xxhsum")
	dir := tb.TempDir()
	s := &station{tb: tb, dir: dir, home: filepath.Join(dir, "home"), card: newDisk(tb, dir, "card", 64), raid: newDisk(tb, dir, "raid", 96), shuttle: newDisk(tb, dir, "shuttle", 96)}
	s.raid.mount()
	s.shuttle.mount()
	s.card.mount()
	for name, n := range cardFiles {
		p := filepath.Join(s.card.at, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			tb.Fatal(err)
		}
		if err := os.WriteFile(p, fileOf(name, n), 0o644); err != nil {
			tb.Fatal(err)
		}
	}
	s.card.umount()
	return s
}

func (s *station) begin() {
	s.p = run(s.tb, binary(s.tb), "shift", "--home", s.home, "--production", "Harbour Lights", "--day", "3", "--operator", "Kim", "--station", "cart",
		"--to", s.raid.at, "--to", s.shuttle.at, "--reader", s.card.at, "--brief")
}

func (s *station) setUp() {
	s.p.ask("setup.camera", "A blue")
	s.p.ask("setup.camera", "")
	s.p.ask("setup.marking", "red tape over the case")
	s.p.ask("setup.kit", "k")
	s.p.ask("setup.bins", "b")
	s.p.ask("setup.done", "s")
}

func (s *station) toStart() {
	p := s.p
	p.ask("next", "p")
	p.ask("pick.card", "A001")
	p.ask("pick.tape", "A001")
	p.ask("seat.tape", "t")
	p.await("waiting for the card")
	s.card.mount()
	p.await("[start.go]")
}

func (s *station) logCount() { s.p.logCount("S-0117", "") }

// logCount answers what is asked while it copies, and reads the figures for the book as a person does.
func (p *proc) logCount(serial, notes string) {
	p.ask("log.serial", serial)
	p.ask("log.notes", notes)
	_, fig, _ := strings.Cut(p.await("for the book: "), "for the book: ")
	files, size, _ := strings.Cut(fig, ", ")
	n, _, _ := strings.Cut(files, " ")
	p.ask("count.written", "w")
	p.ask("count.files", n)
	p.ask("count.size", size)
}

var sighted = regexp.MustCompile(`\[look\.(\w+)\].*Open ([^. ]+)\. What stands for the dots: (\S+)`)

func (s *station) look() {
	for range 2 {
		m := sighted.FindStringSubmatch(s.p.await("[look."))
		if m == nil {
			s.tb.Fatalf("cannot read the sighted check:\n%s", s.p.text())
		}
		drive := map[string]*disk{"RAID": s.raid, "SHUTTLE": s.shuttle}[m[1]]
		found, err := filepath.Glob(filepath.Join(drive.at, "*/*/A", m[2], strings.Replace(m[3], "····", "????", 1)))
		if err != nil || len(found) != 1 {
			s.tb.Fatalf("%v: %v %v", m, found, err)
		}
		head, _, _ := strings.Cut(m[3], "····")
		s.p.say(filepath.Base(found[0])[len(head) : len(head)+4])
	}
}

// toGreen walks A001 from the set-up into the green bin.
func (s *station) toGreen() {
	p := s.p
	s.setUp()
	p.ask("next", "arrived A001")
	p.ask("receive.from", "Robin")
	p.ask("receive.bin", "b")
	s.toStart()
	p.say("s")
	s.logCount()
	p.await("[pull.desk]")
	s.card.umount()
	p.await("reader: card out")
	p.say("d")
	s.look()
	p.ask("mark.green", "g")
	p.ask("bin.green", "i")
}

// The whole shift on real mounts, in plain mode: afterwards a general tool accepts every copy, the card is empty and
// the journal verifies.
func TestShiftOnRealMounts(t *testing.T) {
	s := newStation(t)
	s.begin()
	p := s.p
	s.toGreen()
	p.ask("next", "e")
	p.await("waiting for the card")
	s.card.mount()
	p.ask("reseat.in", "i")
	p.ask("erase.label", "erase A001")
	p.await("The card is empty")
	left, err := filepath.Glob(filepath.Join(s.card.at, "*"))
	if err != nil || len(left) != 1 || filepath.Base(left[0]) != "lost+found" {
		t.Errorf("left on the card: %v %v", left, err)
	}
	s.card.umount()
	p.await("reader: card out")
	p.say("Robin")
	p.await("A001 closed")
	p.ask("next", "c")
	p.ask("close.tapes", "1")
	p.ask("close.book", "1")
	p.await("the copies of 1 roll stand on 2 drives")
	p.await("The log sheet is written: ")
	p.ask("close.done", "c")
	_, code, _ := strings.Cut(p.await("Closing code: "), "Closing code: ")
	p.ask("close.written", "w")
	p.ask("close.code", code)
	if rc := p.exit(); rc != 0 {
		t.Errorf("exit code %d, want 0\n%s", rc, p.text())
	}
	for _, d := range []*disk{s.raid, s.shuttle} {
		// The list is checked by a general tool, from a fresh mount.
		d.umount()
		d.mount()
		list, err := filepath.Glob(filepath.Join(d.at, "*/*/A/A001.xxh64"))
		if err != nil || len(list) != 1 {
			t.Fatalf("checksum list: %v %v", list, err)
		}
		cmd := exec.Command("xxhsum", "-c", "A001.xxh64")
		cmd.Dir = filepath.Dir(list[0])
		if b, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("xxhsum -c in %s: %v\n%s", cmd.Dir, err, b)
		}
	}
	s.record()
	b, err := exec.Command(binary(t), "journal", "--verify", "--json", "--home", s.home).Output()
	if err != nil {
		t.Fatalf("journal --verify: %v\n%s", err, b)
	}
	var rep struct {
		Whole       bool   `json:"whole"`
		Closed      bool   `json:"closed"`
		ClosingCode string `json:"closing_code"`
	}
	if err := json.Unmarshal(b, &rep); err != nil || !rep.Whole || !rep.Closed || rep.ClosingCode != code {
		t.Errorf("journal --verify: %+v, %v; want whole, closed, code %s", rep, err, code)
	}
}

// The record of a shift that was worked for real: log sheet, hand-over, search, a recheck of a drive, a further copy.
func (s *station) record() {
	t := s.tb
	t.Helper()
	atClose, err := os.ReadFile(filepath.Join(s.home, "sheets", "Harbour_Lights_day003_cart_sheet.csv"))
	if err != nil || !strings.Contains(string(atClose), "A001") {
		t.Errorf("the log sheet of the close: %v\n%s", err, atClose)
	}
	csv := sh(t, binary(t), "sheet", "--home", s.home)
	for _, want := range []string{"A001", "S-0117", "RAID", "SHUTTLE", "Harbour Lights"} {
		if !strings.Contains(csv, want) {
			t.Errorf("the log sheet lacks %q:\n%s", want, csv)
		}
	}
	out := filepath.Join(s.dir, "handover")
	sh(t, binary(t), "handover", out, "--home", s.home)
	for _, ext := range []string{"html", "pdf", "csv", "xlsx"} {
		if m, _ := filepath.Glob(filepath.Join(out, "*."+ext)); len(m) == 0 {
			t.Errorf("the hand-over has no %s", ext)
		}
	}
	if b, err := exec.Command(binary(t), "handover", out, "--home", s.home).CombinedOutput(); err == nil {
		t.Errorf("the hand-over was written over:\n%s", b)
	}
	if got := sh(t, binary(t), "find", "R4KQ", "--home", s.home); !strings.Contains(got, "A001") {
		t.Errorf("find: %s", got)
	}
	if got := sh(t, binary(t), "recheck", "--read-only", s.raid.at); !strings.Contains(got, "4 intact, 0 changed, 0 missing") {
		t.Errorf("recheck: %s", got)
	}
	post := newDisk(t, s.dir, "post", 96)
	post.mount()
	if got := sh(t, binary(t), "copy", "A001", "--to", post.at, "--home", s.home); !strings.Contains(got, "A001 on post: 4 files") || strings.Contains(got, "NOT") {
		t.Errorf("copy: %s", got)
	}
	gens, err := filepath.Glob(filepath.Join(post.at, "*/*/A/A001/ascmhl/000?_*.mhl"))
	if err != nil || len(gens) != 2 {
		t.Errorf("generations on the further copy: %v %v, want the first one carried and its own", gens, err)
	}
}

// One bit flipped under the file system of a destination, between the copy and its read-back: the roll is on hold, the
// lock stays closed and says why. The flip is in the image file, so the file system knows nothing of it.
func TestBitFlippedUnderADestination(t *testing.T) {
	s := newStation(t)
	s.begin()
	p := s.p
	s.setUp()
	p.ask("next", "arrived A001")
	p.ask("receive.from", "Robin")
	p.ask("receive.bin", "b")
	s.toStart()
	p.say("s")
	s.logCount()
	p.await("[pull.desk]")
	s.card.umount()
	p.await("reader: card out")
	p.say("d")
	s.look()
	p.ask("mark.green", "g")
	p.ask("bin.green", "i")
	// The copies were proven; now one of them rots, before the erase. recheck = full is not set: the sample has all
	// files of so small a card.
	flip(t, s.raid)
	p.ask("next", "e")
	p.await("waiting for the card")
	s.card.mount()
	p.ask("reseat.in", "i")
	p.await("The lock is closed. L5: a file on RAID differs from the proof")
	p.await("A001 is on hold: a file on RAID differs from the proof")
	p.say("erase A001")
	p.await("That was not asked")
	if m, _ := filepath.Glob(filepath.Join(s.card.at, "CLIPS/*")); len(m) != 3 {
		t.Errorf("on the card: %v, want its 3 clips", m)
	}
	if rc := p.exit(); rc != 0 {
		t.Errorf("exit code %d, want 0", rc)
	}
	out, err := exec.Command(binary(t), "lock", "A001", "--home", s.home).CombinedOutput()
	var xe *exec.ExitError
	if !asExit(err, &xe) || xe.ExitCode() != 3 || !strings.Contains(string(out), "L6 closed") {
		t.Errorf("twobin lock: %v\n%s", err, out)
	}
}

// A second twobin on the same shift is told who has it, and changes nothing.
func TestSecondProcessIsToldWhoHasTheShift(t *testing.T) {
	s := newStation(t)
	s.begin()
	s.p.await("-- Set-up")
	second := run(t, binary(t), "shift", "--home", s.home)
	said := second.await("another twobin works on this shift")
	if want := fmt.Sprint(s.p.cmd.Process.Pid); !strings.Contains(said, want) {
		t.Errorf("it does not name process %s: %s", want, said)
	}
	if rc := second.exit(); rc != 1 {
		t.Errorf("second process: exit code %d, want 1", rc)
	}
	s.setUp()
	s.p.await("[next]")
	if rc := s.p.exit(); rc != 0 {
		t.Errorf("first process: exit code %d", rc)
	}
	t.Log("figure: two at once, journal = 1")
}

// A disk image that lies on one destination is no second device: both are lost with the one drive.
func TestImageOnADestinationIsNoSecondDevice(t *testing.T) {
	s := newStation(t)
	img, at := filepath.Join(s.raid.at, "in.img"), filepath.Join(s.dir, "inside")
	if err := os.Mkdir(at, 0o755); err != nil {
		t.Fatal(err)
	}
	sh(t, "truncate", "-s", "16M", img)
	sh(t, "mkfs.ext4", "-q", img)
	loop := sh(t, "losetup", "-f", "--show", img)
	t.Cleanup(func() { _ = exec.Command("umount", at).Run(); _ = exec.Command("losetup", "-d", loop).Run() })
	sh(t, "mount", loop, at)
	p := run(t, binary(t), "shift", "--home", s.home, "--production", "Harbour Lights", "--day", "3", "--operator", "Kim", "--station", "cart", "--to", s.raid.at, "--to", at)
	p.await("are on one physical device")
	p.exit()
	sh(t, "umount", at)
}

// A stray volume: mounted when no card is due. It is named, and nothing on it is touched.
func TestStrayVolumeOnRealMounts(t *testing.T) {
	s := newStation(t)
	s.begin()
	s.setUp()
	s.p.await("[next]")
	s.card.mount()
	s.p.await("A volume appeared that no step waits for: CARD")
	s.card.umount()
	if rc := s.p.exit(); rc != 0 {
		t.Errorf("exit code %d", rc)
	}
}

func asExit(err error, x **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*x = e
	return ok
}

// flip changes one bit of the largest clip in the image, found by its contents.
func flip(tb testing.TB, d *disk) {
	tb.Helper()
	found, err := filepath.Glob(filepath.Join(d.at, "*/*/A/A001/CLIPS/A001C001_R4KQ.mov"))
	if err != nil || len(found) != 1 {
		tb.Fatalf("%v %v", found, err)
	}
	out := sh(tb, "filefrag", "-v", "-b4096", found[0])
	m := regexp.MustCompile(`(?m)^\s*0:\s+0\.\.\s*\d+:\s+(\d+)\.\.`).FindStringSubmatch(out)
	if m == nil {
		tb.Fatalf("filefrag: %s", out)
	}
	var block int64
	if _, err := fmt.Sscan(m[1], &block); err != nil {
		tb.Fatal(err)
	}
	one := make([]byte, 1)
	off := block*4096 + 2048
	img, err := os.OpenFile(d.img, os.O_RDWR, 0)
	if err != nil {
		tb.Fatal(err)
	}
	defer img.Close()
	if _, err := img.ReadAt(one, off); err != nil {
		tb.Fatal(err)
	}
	one[0] ^= 4
	if _, err := img.WriteAt(one, off); err != nil {
		tb.Fatal(err)
	}
	if err := img.Sync(); err != nil {
		tb.Fatal(err)
	}
	sh(tb, "blockdev", "--flushbufs", d.loop)
}
