package offload

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/offload/internal/faultfs"
	"twobin/procedure"
)

const (
	takeC001 = "CLIPS/A003C001.mov"   // large
	frame2   = "FRAMES/R01/f0002.dpx" // small
	frameOK  = "FRAMES/R01/f0001.dpx" // small, never spoiled
	half     = 5 << 20                // an offset in takeC001
	patience = time.Second            // of jobs whose drives hang
)

// faultRow is one fault of a drive or card: what spoils it, and what has to come of it.
type faultRow struct {
	name string
	// onCard: the card is spoiled, else the second drive.
	onCard bool
	// hooks makes the spoiling; let is closed when hanging calls may go on; src is the card's real folder.
	hooks func(let <-chan struct{}, src string) faultfs.Hooks
	// want is the kind of the one error; 0 for none: the engine has to cope.
	want guard.Kind
	// path is the file that the error names; "" if it may name none.
	path string
	job  func(*Job)
	// met counts how often the fault came to happen; nil where its error shows that.
	met *atomic.Int64
	// changesCard: the row itself writes to the card's folder. The card is listed again before the second run.
	changesCard bool
	// wrongStays: bytes that are not the card's got their name on a drive, by a fault that said nothing. They are never
	// written over: a second run refuses, and succeeds once that roll's folder is moved aside.
	wrongStays bool
	// noRetry: the card then holds what no copy can be made of, or lacks what was copied.
	noRetry bool
}

// once lets a hook happen a single time.
func once() func() bool {
	var done atomic.Bool
	return func() bool { return done.CompareAndSwap(false, true) }
}

// about says whether a path of a drive (final or temporary name, in the roll's folder) or card is in the folder of file.
func about(path, file string) bool {
	dir, _ := split(file)
	return strings.Contains("/"+path, "/"+dir+"/")
}

func failWrite(file string, e syscall.Errno) func(<-chan struct{}, string) faultfs.Hooks {
	return func(<-chan struct{}, string) faultfs.Hooks {
		return faultfs.Hooks{Write: func(path string, off int64, data []byte) (int, syscall.Errno) {
			if about(path, file) && (off >= half || file != takeC001) {
				return 0, e
			}
			return len(data), 0
		}}
	}
}

func failRead(file string, e syscall.Errno) func(<-chan struct{}, string) faultfs.Hooks {
	return func(<-chan struct{}, string) faultfs.Hooks {
		return faultfs.Hooks{Read: func(path string, off int64, data []byte) syscall.Errno {
			if strings.HasSuffix(path, file) && (off+int64(len(data)) > half || file != takeC001) {
				return e
			}
			return 0
		}}
	}
}

// flipRead spoils one bit of a file, from the n-th pass over it on.
func flipRead(file string, from int32) func(<-chan struct{}, string) faultfs.Hooks {
	return func(<-chan struct{}, string) faultfs.Hooks {
		var passes atomic.Int32
		return faultfs.Hooks{Read: func(path string, off int64, data []byte) syscall.Errno {
			if strings.HasSuffix(path, file) && off == 0 && passes.Add(1) >= from {
				data[len(data)/2] ^= 0x10
			}
			return 0
		}}
	}
}

func fsync(e syscall.Errno, hang bool, which func(path string) bool) func(<-chan struct{}, string) faultfs.Hooks {
	return func(let <-chan struct{}, _ string) faultfs.Hooks {
		return faultfs.Hooks{Fsync: func(path string) syscall.Errno {
			if !which(path) {
				return 0
			}
			if hang {
				<-let
			}
			return e
		}}
	}
}

// changeCard does something to the card's real folder when the last block of the large take is read.
func changeCard(change func(src string) error) func(<-chan struct{}, string) faultfs.Hooks {
	return func(_ <-chan struct{}, src string) faultfs.Hooks {
		first := once()
		return faultfs.Hooks{Read: func(path string, off int64, _ []byte) syscall.Errno {
			if path == takeC001 && off >= half && first() {
				if err := change(src); err != nil {
					return syscall.EBADMSG
				}
			}
			return 0
		}}
	}
}

// giveLess is a row of short reads: give says how many of n bytes are given, and first, whether that is the first read of
// the file. Zero must not be given, since that would be the file's end.
func giveLess(name string, onCard bool, give func(n int, first bool) int) faultRow {
	row := faultRow{name: name, onCard: onCard, met: new(atomic.Int64)}
	row.hooks = func(<-chan struct{}, string) faultfs.Hooks {
		var seen sync.Map
		return faultfs.Hooks{Less: func(path string, _ int64, n int) int {
			_, again := seen.LoadOrStore(path, true)
			less := min(n, give(n, !again))
			if less < n {
				row.met.Add(1)
			}
			return less
		}}
	}
	return row
}

// halfBlocks is about half, in whole blocks, so that the next read can go past the cache, too; halfOnce is half of a file's first read,
// in odd bytes.
func halfBlocks(n int, _ bool) int { return ((n+1)/2 + device.Align - 1) / device.Align * device.Align }

func halfOnce(n int, first bool) int {
	if first && n > 1 {
		return n/2 | 1
	}
	return n
}

func isTake(path string) bool { return about(path, takeC001) }

var faultTable = []faultRow{
	{name: "drive: write error in a large file", hooks: failWrite(takeC001, syscall.EIO), want: guard.KindWrite, path: takeC001},
	{name: "drive: write error in a small file", hooks: failWrite(frame2, syscall.EIO), want: guard.KindWrite},
	{name: "drive: full in a large file", hooks: failWrite(takeC001, syscall.ENOSPC), want: guard.KindNoSpace, path: takeC001},
	{name: "drive: quota in a small file", hooks: failWrite(frame2, syscall.EDQUOT), want: guard.KindNoSpace},
	{name: "drive: turns read-only", hooks: failWrite(takeC001, syscall.EROFS), want: guard.KindReadOnly, path: takeC001},
	{name: "drive: not allowed to create", want: guard.KindDenied, hooks: func(<-chan struct{}, string) faultfs.Hooks {
		return faultfs.Hooks{Create: func(path string) syscall.Errno {
			if about(path, takeC001) {
				return syscall.EACCES
			}
			return 0
		}}
	}},
	{name: "drive: takes less than it is given", hooks: func(<-chan struct{}, string) faultfs.Hooks {
		return faultfs.Hooks{Write: func(_ string, _ int64, data []byte) (int, syscall.Errno) {
			return max(1, len(data)*2/3), 0
		}}
	}},
	{name: "drive: takes nothing and says ok", want: guard.KindWrite, hooks: func(<-chan struct{}, string) faultfs.Hooks {
		return faultfs.Hooks{Write: func(path string, _ int64, data []byte) (int, syscall.Errno) {
			if isTake(path) {
				return 0, 0
			}
			return len(data), 0
		}}
	}},
	{name: "drive: flush of a file fails", hooks: fsync(syscall.EIO, false, isTake), want: guard.KindWrite},
	{name: "drive: flush of a folder fails", want: guard.KindWrite, hooks: fsync(syscall.EIO, false, func(path string) bool {
		return strings.HasSuffix(path, "/FRAMES/R01")
	})},
	{name: "drive: rename fails", want: guard.KindWrite, path: takeC001, hooks: func(<-chan struct{}, string) faultfs.Hooks {
		return faultfs.Hooks{Rename: func(path string) syscall.Errno {
			if strings.HasSuffix(path, takeC001) {
				return syscall.EIO
			}
			return 0
		}}
	}},
	{name: "drive: flips a bit when writing", wrongStays: true, want: guard.KindMismatch, path: takeC001, hooks: func(<-chan struct{}, string) faultfs.Hooks {
		first := once()
		return faultfs.Hooks{Write: func(path string, off int64, data []byte) (int, syscall.Errno) {
			if isTake(path) && off >= half && first() {
				data[100] ^= 1
			}
			return len(data), 0
		}}
	}},
	{name: "drive: flips a bit when reading", hooks: flipRead(frame2, 1), want: guard.KindMismatch, path: frame2},
	giveLess("drive: gives less than asked when read back", false, halfBlocks),
	giveLess("drive: gives less than a block when read back", false, halfOnce),
	{name: "drive: cannot be read back, large", hooks: failRead(takeC001, syscall.EIO), want: guard.KindReadBack, path: takeC001},
	{name: "drive: cannot be read back, small", hooks: failRead(frame2, syscall.EIO), want: guard.KindReadBack, path: frame2},
	{name: "drive: write hangs", want: guard.KindStalled, hooks: func(let <-chan struct{}, _ string) faultfs.Hooks {
		return faultfs.Hooks{Write: func(path string, off int64, data []byte) (int, syscall.Errno) {
			if isTake(path) && off >= half {
				<-let
			}
			return len(data), 0
		}}
	}},
	{name: "drive: flush hangs", hooks: fsync(0, true, isTake), want: guard.KindStalled},
	{name: "drive: small write hangs", want: guard.KindStalled, hooks: func(let <-chan struct{}, _ string) faultfs.Hooks {
		return faultfs.Hooks{Write: func(path string, _ int64, data []byte) (int, syscall.Errno) {
			if about(path, frame2) {
				<-let
			}
			return len(data), 0
		}}
	}},
	{name: "drive: read-back hangs", want: guard.KindStalled, hooks: func(let <-chan struct{}, _ string) faultfs.Hooks {
		return faultfs.Hooks{Read: func(string, int64, []byte) syscall.Errno { <-let; return 0 }}
	}},
	{name: "drive: disconnected", hooks: failWrite(takeC001, syscall.ENOTCONN), want: guard.KindGone, path: takeC001},
	{name: "drive: no such device", hooks: failWrite(frame2, syscall.ENODEV), want: guard.KindGone},

	{name: "card: read error in a large file", onCard: true, hooks: failRead(takeC001, syscall.EIO), want: guard.KindSourceRead, path: takeC001},
	{name: "card: read error in a small file", onCard: true, hooks: failRead(frame2, syscall.EIO), want: guard.KindSourceRead, path: frame2},
	{name: "card: not allowed to read", onCard: true, hooks: failRead(frame2, syscall.EACCES), want: guard.KindDenied, path: frame2},
	giveLess("card: gives less than asked", true, halfBlocks),
	giveLess("card: gives less than a block", true, halfOnce),
	{name: "card: other bytes the second time", onCard: true, hooks: flipRead(takeC001, 2), want: guard.KindReread, path: takeC001, job: func(j *Job) { j.Reread = true }},
	{name: "card: other bytes the first time", onCard: true, wrongStays: true, want: guard.KindReread, path: frame2, job: func(j *Job) { j.Reread = true }, hooks: func(<-chan struct{}, string) faultfs.Hooks {
		first := once()
		return faultfs.Hooks{Read: func(path string, _ int64, data []byte) syscall.Errno {
			if path == frame2 && first() {
				data[7] ^= 0x80
			}
			return 0
		}}
	}},
	{name: "card: hangs", onCard: true, want: guard.KindStalled, hooks: func(let <-chan struct{}, _ string) faultfs.Hooks {
		return faultfs.Hooks{Read: func(path string, off int64, _ []byte) syscall.Errno {
			if path == takeC001 && off >= half {
				<-let
			}
			return 0
		}}
	}},
	{name: "card: hangs in a small file", onCard: true, want: guard.KindStalled, hooks: func(let <-chan struct{}, _ string) faultfs.Hooks {
		return faultfs.Hooks{Read: func(path string, _ int64, _ []byte) syscall.Errno {
			if path == frame2 {
				<-let
			}
			return 0
		}}
	}},
	{name: "card: vanishes", onCard: true, hooks: failRead(takeC001, syscall.ENODEV), want: guard.KindGone, path: takeC001},
	{name: "card: file grows", onCard: true, changesCard: true, want: guard.KindSourceChanged, path: takeC001, hooks: changeCard(func(src string) error {
		f, err := os.OpenFile(filepath.Join(src, takeC001), os.O_APPEND|os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		_, err = f.WriteString("one more frame")
		return err
	})},
	{name: "card: file shrinks", onCard: true, changesCard: true, want: guard.KindSourceChanged, path: takeC001, hooks: changeCard(func(src string) error {
		return os.Truncate(filepath.Join(src, takeC001), half)
	})},
	{name: "card: file is rewritten", onCard: true, changesCard: true, want: guard.KindSourceChanged, path: takeC001, hooks: changeCard(func(src string) error {
		return os.Chtimes(filepath.Join(src, takeC001), made, made.Add(time.Hour))
	})},
	{name: "card: a new file", onCard: true, changesCard: true, want: guard.KindSourceChanged, path: "CLIPS/A003C009.mov", hooks: changeCard(func(src string) error {
		return os.WriteFile(filepath.Join(src, "CLIPS/A003C009.mov"), []byte("new"), 0o644)
	})},
	{name: "card: a file that was read is gone", onCard: true, changesCard: true, noRetry: true, want: guard.KindSourceChanged, path: frameOK, hooks: changeCard(func(src string) error {
		return os.Remove(filepath.Join(src, frameOK))
	})},
	{name: "card: a file turns into a link", onCard: true, changesCard: true, noRetry: true, want: guard.KindSourceChanged, path: frameOK, hooks: changeCard(func(src string) error {
		name := filepath.Join(src, frameOK)
		if err := os.Remove(name); err != nil {
			return err
		}
		return os.Symlink("/etc/passwd", name)
	})},
}

// TestFaults spoils one thing a row. Whatever the fault: it is named as what it is, nothing wrong stands under a final
// name, the card is untouched, the other drive's files stay, and a second run, with the fault gone, proves everything.
func TestFaults(t *testing.T) {
	t.Parallel()
	for _, row := range faultTable {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			fsys, mount, backing := spoiled(t)
			src, drive := t.TempDir(), mount
			if row.onCard {
				src, drive = mount, t.TempDir()
			}
			cardTree(t, src)
			realSrc := src
			if row.onCard {
				realSrc = backing
			}
			before := tree(t, realSrc)
			job := plainJob(t, src, t.TempDir(), drive)
			if row.want == guard.KindStalled {
				job.Patience = patience
			}
			if row.job != nil {
				row.job(&job)
			}
			let := make(chan struct{})
			fsys.Set(row.hooks(let, realSrc))
			p, errs := Run(t.Context(), job, nil)
			close(let)
			fsys.Set(faultfs.Hooks{})
			if row.met != nil && row.met.Load() == 0 {
				t.Error("the fault did not happen: this row shows nothing")
			}

			checkFault(t, row, errs)
			if !row.changesCard {
				if diff := cmp.Diff(before, tree(t, realSrc)); diff != "" {
					t.Errorf("the card changed:\n%s", diff)
				}
			}
			for i := range p.Copies {
				c := &p.Copies[i]
				spoiledCopy := row.want != 0 && (row.onCard || i == 1)
				if whole := len(c.Back) == len(p.Files) && c.Fault == ""; whole == spoiledCopy {
					t.Errorf("%s: whole = %v (fault %q, %d of %d read back)", c.Name, whole, c.Fault, len(c.Back), len(p.Files))
				}
				if p.Proven(c) && spoiledCopy {
					t.Errorf("%s counts as proven", c.Name)
				}
			}
			switch {
			case row.noRetry:
				return
			case row.changesCard:
				list, err := Scan(t.Context(), src)
				if err != nil {
					t.Fatal(err)
				}
				job.Listing = list
			case row.wrongStays:
				moveWrongAside(t, job, realSrc)
			default:
				onlyRightFiles(t, job, realSrc)
			}
			retrySucceeds(t, job, realSrc)
		})
	}
}

// checkFault compares the errors with the row.
func checkFault(t *testing.T, row faultRow, errs []*guard.Error) {
	t.Helper()
	if row.want == 0 {
		if len(errs) != 0 {
			t.Errorf("errors = %v, want none", errs)
		}
		return
	}
	if len(errs) != 1 {
		t.Fatalf("errors = %v, want one", errs)
	}
	item := "DRIVE2"
	if row.onCard {
		item = card
	}
	read := procedure.FaultNotice("A003", errs[0])
	if said := reads[row.want]; said == "" || !strings.Contains(read.What, said) || !strings.Contains(read.What, "A003") || read.Safe == "" || read.Do == "" {
		t.Errorf("the operator reads %+v, want %q, what is safe, and what to do", read, said)
	}
	if !row.onCard && !strings.Contains(read.What+read.Do, item) || row.path != "" && !strings.Contains(errs[0].Error(), row.path) {
		t.Errorf("the operator does not read which drive or file: %+v, %v", read, errs[0])
	}
	if errs[0].Kind != row.want || errs[0].Item != item || row.path != "" && errs[0].Path != row.path {
		t.Errorf("error = %v, want kind %v on %s, path %q", errs[0], row.want, item, row.path)
	}
}

// onlyRightFiles looks that whatever has a final name on a drive is the card's file.
func onlyRightFiles(t *testing.T, job Job, src string) {
	t.Helper()
	for _, target := range job.Targets {
		for _, e := range job.Listing.Files {
			got, err := os.ReadFile(rolled(target, e.Path))
			if err != nil {
				continue
			}
			want, err := os.ReadFile(filepath.Join(src, e.Path))
			if err != nil {
				t.Fatal(err)
			}
			if sum(got) != sum(want) {
				t.Errorf("%s: %q has its name but not its bytes", target.Name, e.Path)
			}
		}
	}
}

// moveWrongAside sees that a second run refuses a file that has its name but not its bytes, and moves each such roll's
// folder away.
func moveWrongAside(t *testing.T, job Job, src string) {
	t.Helper()
	_, errs := Run(t.Context(), job, nil)
	if len(errs) == 0 {
		t.Fatal("the second run went through over wrong bytes")
	}
	for _, e := range errs {
		if e.Kind != guard.KindExists {
			t.Errorf("second run: %v, want %v", e, guard.KindExists)
		}
		for _, target := range job.Targets {
			if target.Name == e.Item {
				if err := os.Rename(rolled(target, ""), rolled(target, "")+".aside"); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	onlyRightFiles(t, job, src)
}

// retrySucceeds runs the job again, after the fault. The lock of the first run ends when its last stuck call does.
func retrySucceeds(t *testing.T, job Job, src string) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for {
		p, errs := Run(t.Context(), job, nil)
		if len(errs) == 1 && errs[0].Kind == guard.KindBusy && time.Now().Before(deadline) {
			continue
		}
		if len(errs) != 0 {
			t.Fatalf("second run: %v", errs)
		}
		for i := range p.Copies {
			if len(p.Copies[i].Back) != len(p.Files) {
				t.Errorf("second run: %s read back %d of %d", p.Copies[i].Name, len(p.Copies[i].Back), len(p.Files))
			}
		}
		break
	}
	want := tree(t, src)
	for _, target := range job.Targets {
		if diff := cmp.Diff(want, tree(t, rolled(target, ""))); diff != "" {
			t.Errorf("after the second run, %s (-card +copy):\n%s", target.Name, diff)
		}
	}
}

// reads is the heart of what the operator reads, by kind of fault.
var reads = map[guard.Kind]string{
	guard.KindNoSpace: "the drive is full", guard.KindReadOnly: "read-only", guard.KindDenied: "no permission", guard.KindGone: "no longer there",
	guard.KindStalled: "does not answer", guard.KindWrite: "writing failed", guard.KindReadBack: "cannot be read back",
	guard.KindMismatch: "differs from the card", guard.KindSourceRead: "the card cannot be read", guard.KindSourceChanged: "the card changed",
	guard.KindReread: "different bytes when read twice",
}

// faultIndex names, for every fault that a copy has to stand, the tests of this package that make it: rows of the table by
// name, and the tests of what needs a volume of its own.
var faultIndex = []struct {
	fault string
	rows  []string
	tests []func(*testing.T)
}{
	{"read errors at any offset", []string{"card: read error in a large file", "card: read error in a small file"}, []func(*testing.T){TestRandomFaults}},
	{"bits flipped on write", []string{"drive: flips a bit when writing"}, []func(*testing.T){TestBitFlippedUnderTheCache}},
	{"bits flipped on read", []string{"drive: flips a bit when reading", "card: other bytes the first time", "card: other bytes the second time"}, nil},
	{"short writes", []string{"drive: takes less than it is given", "drive: takes nothing and says ok"}, nil},
	{"short reads", []string{"card: gives less than asked", "card: gives less than a block", "drive: gives less than asked when read back", "drive: gives less than a block when read back"}, []func(*testing.T){TestRandomFaults}},
	{"stalls", []string{"drive: write hangs", "drive: flush hangs", "drive: small write hangs", "drive: read-back hangs", "card: hangs", "card: hangs in a small file"}, nil},
	{"no space", []string{"drive: full in a large file", "drive: quota in a small file"}, []func(*testing.T){TestVolumeFaults, TestFullLate, TestCheckKnowsBefore, TestRandomFaultsOnVolumes}},
	{"vanishing mid-file", []string{"drive: disconnected", "drive: no such device", "card: vanishes"}, []func(*testing.T){TestVolumeFaults, TestRandomFaultsOnVolumes}},
	{"read-only remount", []string{"drive: turns read-only"}, []func(*testing.T){TestVolumeFaults, TestRandomFaultsOnVolumes}},
	{"permission", []string{"drive: not allowed to create", "card: not allowed to read"}, nil},
	{"a file growing or shrinking", []string{"card: file grows", "card: file shrinks", "card: file is rewritten", "card: a new file"}, nil},
	{"folder loops", nil, []func(*testing.T){TestScanEndlessFolders, TestScanReportsWhatIsOdd}},
	{"links, sockets and devices on the card", []string{"card: a file turns into a link"}, []func(*testing.T){TestScanReportsWhatIsOdd}},
	{"names of 255 bytes, non-UTF-8, decomposed, differing in case", nil, []func(*testing.T){TestFoldingVolume, TestRunCopiesEverything}},
	{"empty and sparse files", nil, []func(*testing.T){TestSparseFile, TestRunCopiesEverything}},
	{"claims more than it holds", nil, []func(*testing.T){TestClaimsMoreThanItHolds}},
}

// TestEveryFaultHasItsRow keeps the index true: no row is missing from the table, and none of the table from the index
// but those of faults beside the list.
func TestEveryFaultHasItsRow(t *testing.T) {
	t.Parallel()
	rows := map[string]bool{}
	for _, row := range faultTable {
		rows[row.name] = true
	}
	for _, f := range faultIndex {
		if len(f.rows)+len(f.tests) == 0 {
			t.Errorf("%s: no test makes it", f.fault)
		}
		for _, name := range f.rows {
			if !rows[name] {
				t.Errorf("%s: the table has no row %q", f.fault, name)
			}
		}
	}
}
