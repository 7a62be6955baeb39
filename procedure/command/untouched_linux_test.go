package command_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// unable are the calls that cannot change what they are given, whatever their arguments, and those that have to do with no
// file. They are left out of the trace, which would make the program crawl; every other call is in it, and one on a card
// that is not looked at below counts as one that writes.
var unable = strings.Fields(`read pread64 readv preadv preadv2 close close_range lseek fstat fstat64 stat stat64 lstat newfstatat fstatat64 statx
	statfs fstatfs access faccessat faccessat2 readlink readlinkat getdents getdents64 fadvise64 readahead flock getxattr lgetxattr fgetxattr
	listxattr llistxattr flistxattr inotify_add_watch epoll_ctl epoll_wait epoll_pwait epoll_pwait2 poll ppoll select pselect6 fcntl cachestat
	futex nanosleep clock_nanosleep clock_gettime sched_yield madvise munmap mprotect brk rt_sigaction rt_sigprocmask rt_sigreturn sigaltstack
	tgkill getpid gettid getrandom restart_syscall exit exit_group timer_settime setitimer`)

// beginTraced is begin under strace, a general tool.
func (s *station) beginTraced(out string) {
	s.p = run(s.tb, "strace", "-f", "-y", "-qq", "-s", "4096", "--seccomp-bpf", "-e", "trace=!?"+strings.Join(unable, ",?"), "-o", out, binary(s.tb), "shift", "--home", s.home,
		"--production", "Harbour Lights", "--day", "3", "--operator", "Kim", "--station", "cart", "--to", s.raid.at, "--to", s.shuttle.at,
		"--reader", s.card.at, "--brief")
}

var (
	callName = regexp.MustCompile(`^\d+ +([a-z0-9_]+)\(`)
	callPath = regexp.MustCompile(`<(/[^>]*)>|"(/[^"]*)"`)
	opening  = regexp.MustCompile(`O_WRONLY|O_RDWR|O_CREAT|O_TRUNC|O_TMPFILE`)
)

// onCard sorts the calls of a trace that concern the card, or what carries it: how many only open for reading, and which
// could write. A call that another thread's interrupted is put together again.
func onCard(tb testing.TB, trace string, card ...string) (reads int, writes []string) {
	tb.Helper()
	raw, err := os.ReadFile(trace)
	if err != nil {
		tb.Fatal(err)
	}
	half := map[string]string{}
	for line := range strings.Lines(string(raw)) {
		line = strings.TrimSpace(line)
		pid, rest, _ := strings.Cut(line, " ")
		if head, ok := strings.CutSuffix(line, "<unfinished ...>"); ok {
			half[pid] = head
			continue
		}
		if _, tail, ok := strings.Cut(rest, " resumed>"); ok {
			line = half[pid] + tail
		}
		m := callName.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		on := strings.HasPrefix(m[1], "io_uring") // what it does then is not seen
		for _, p := range callPath.FindAllStringSubmatch(line, -1) {
			path := p[1] + p[2]
			for _, c := range card {
				on = on || path == c || strings.HasPrefix(path, c+"/") || strings.HasPrefix(path, c+"<")
			}
		}
		if !on {
			continue
		}
		switch call := m[1]; {
		case call == "execve": // its arguments name the card
		case strings.HasPrefix(call, "open") && !opening.MatchString(line):
			reads++
		case call == "mmap" && !strings.Contains(line, "PROT_WRITE"):
		case call == "ioctl" && harmlessIoctl.MatchString(line):
		default:
			writes = append(writes, line)
		}
	}
	return reads, writes
}

// harmlessIoctl are the requests that ask for names and numbers of file systems.
var harmlessIoctl = regexp.MustCompile(`FS_IOC_GETFSUUID|FS_IOC_GETFSLABEL|BTRFS_IOC_FS_INFO|_IOC_READ, 0x15|_IOC_READ, 0x94, 0x31`)

// untouched works a shift up to the erase, traced, with the card's file system mounted once, outside of the reader, and
// moved in and out of it: so nothing but the program can change the image. options are those of its mount.
func untouched(t *testing.T, options string) {
	needTools(t, "strace", "tune2fs")
	s := newStation(t)
	// Without a journal of the file system's own, which the kernel writes to by itself; cards have none either.
	sh(t, "tune2fs", "-O", "^has_journal", s.card.loop)
	stash := filepath.Join(s.dir, "stash")
	if err := os.Mkdir(stash, 0o755); err != nil {
		t.Fatal(err)
	}
	sh(t, "mount", "-o", options, s.card.loop, stash)
	t.Cleanup(func() {
		_ = exec.Command("umount", "-l", stash).Run()
		_ = exec.Command("umount", "-l", s.card.at).Run()
	})
	image := func() string {
		dir, err := os.Open(stash)
		if err != nil {
			t.Fatal(err)
		}
		defer dir.Close()
		if err := unix.Syncfs(int(dir.Fd())); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(s.card.img)
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%x", sha256.Sum256(b))
	}
	before := image()
	in, out := func() { sh(t, "mount", "--move", stash, s.card.at) }, func() { sh(t, "mount", "--move", s.card.at, stash) }
	trace := filepath.Join(s.dir, "trace")
	s.beginTraced(trace)
	p := s.p
	s.setUp()
	for _, a := range [][2]string{{"next", "arrived A001"}, {"receive.from", "Robin"}, {"receive.bin", "b"}, {"next", "p"}, {"pick.card", "A001"},
		{"pick.tape", "A001"}, {"seat.tape", "t"}} {
		p.ask(a[0], a[1])
	}
	p.await("waiting for the card")
	in()
	p.ask("start.go", "s")
	s.logCount()
	p.await("[pull.desk]")
	out()
	p.await("reader: card out")
	p.say("d")
	s.look()
	p.ask("mark.green", "g")
	p.ask("bin.green", "i")
	p.ask("next", "e")
	p.await("waiting for the card")
	in()
	p.ask("reseat.in", "i")
	if _, ok := p.nextOf("[erase.label]", "The lock is closed"); !ok {
		t.Fatalf("no word of the lock:\n%s", p.text())
	}
	out()
	p.exit()
	changed := 0
	if image() != before {
		changed++
		t.Error("the card's image changed")
	}
	reads, writes := onCard(t, trace, s.card.at, s.card.loop)
	for _, w := range writes {
		t.Errorf("could write to the card: %s", w)
	}
	if reads < 10 {
		t.Errorf("only %d openings seen on the card: the trace has not seen the shift", reads)
	}
	if _, w := onCard(t, trace, s.raid.at); len(w) < 10 {
		t.Errorf("only %d writing calls seen on a drive: the trace sees no writing", len(w))
	}
	// That the comparison sees anything: an ordinary change of one file.
	if options != "ro" {
		if err := os.WriteFile(filepath.Join(stash, "notes.txt"), []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
		if image() == before {
			t.Error("a change of one file does not show in the image: this test shows nothing")
		}
	}
	t.Logf("figure: card images that changed = %d", changed)
	t.Logf("figure: calls that could write to the card = %d", len(writes))
	t.Logf("%d openings for reading seen on the card", reads)
}

// Invariant 2, the whole program: up to the erase step no call that writes, and not a byte of the image, on a card whose
// file system keeps every access time; and the same on one that is mounted read-only.
func TestInvariant2CardUntouchedByAShift(t *testing.T) { untouched(t, "strictatime,noinit_itable") }

func TestInvariant2ReadOnlyCardUntouchedByAShift(t *testing.T) { untouched(t, "ro") }
