package recheck

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
	"golang.org/x/sys/unix"

	"twobin/guard"
)

// sick is a loopback file system in which files and folders called "sick…" cannot be read, and whose reads of a file
// called "hook.mov" call hook first.
type sick struct {
	fs.LoopbackNode
	hook func()
}

// ill tells whether a node's name is one that cannot be read.
func (n *sick) ill() bool {
	return strings.HasPrefix(filepath.Base(n.Path(n.Root())), "sick")
}

func (n *sick) Open(ctx context.Context, flags uint32) (fs.FileHandle, uint32, syscall.Errno) {
	f, _, errno := n.LoopbackNode.Open(ctx, flags&^uint32(unix.O_DIRECT))
	if errno != 0 {
		return nil, 0, errno
	}
	name := filepath.Base(n.Path(n.Root()))
	return &sickFile{FileHandle: f, bad: n.ill(), hooked: name == "hook.mov", hook: n.hook}, fuse.FOPEN_DIRECT_IO, 0
}

func (n *sick) OpendirHandle(ctx context.Context, flags uint32) (fs.FileHandle, uint32, syscall.Errno) {
	if n.ill() {
		return nil, 0, syscall.EIO
	}
	return n.LoopbackNode.OpendirHandle(ctx, flags)
}

// sickFile hides the stock handle, which may otherwise be read past this file system.
type sickFile struct {
	fs.FileHandle
	bad, hooked bool
	hook        func()
}

func (f *sickFile) Read(ctx context.Context, dest []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	if f.hooked && f.hook != nil {
		f.hook()
		return nil, syscall.EIO
	}
	if f.bad {
		return nil, syscall.EIO
	}
	return f.FileHandle.(fs.FileReader).Read(ctx, dest, off)
}

func (f *sickFile) Fsync(ctx context.Context, flags uint32) syscall.Errno {
	return f.FileHandle.(fs.FileFsyncer).Fsync(ctx, flags)
}

func (f *sickFile) Release(ctx context.Context) syscall.Errno {
	return f.FileHandle.(fs.FileReleaser).Release(ctx)
}

// mountSick shows dir through the file system.
func mountSick(t *testing.T, dir string, hook func()) (string, *fuse.Server) {
	t.Helper()
	lacks := func(what string, err error) {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatalf("lacks %s: %v", what, err)
		}
		t.Skipf("lacks %s: %v", what, err)
	}
	if _, err := os.Stat("/dev/fuse"); err != nil {
		lacks("/dev/fuse", err)
	}
	root := &fs.LoopbackRoot{Path: dir}
	//lint:ignore SA1019 its replacement does not reach nodes made by LoopbackNode itself
	root.NewNode = func(r *fs.LoopbackRoot, _ *fs.Inode, _ string, _ *syscall.Stat_t) fs.InodeEmbedder {
		return &sick{LoopbackNode: fs.LoopbackNode{RootData: r}, hook: hook}
	}
	//lint:ignore SA1019 as above
	node := root.NewNode(root, nil, "", nil)
	root.RootNode = node
	at := t.TempDir()
	server, err := fs.Mount(at, node, &fs.Options{})
	if err != nil {
		lacks("a way to mount FUSE", err)
	}
	t.Cleanup(func() { _ = server.Unmount() }) // may be unmounted already
	return at, server
}

// TestUnreadable: read errors are told apart from damage, nothing is recorded of what could not be read, and the same
// roll is whole again once the fault is gone.
func TestUnreadable(t *testing.T) {
	files := clips()
	files["sick.mov"] = "s"
	files["sick folder/in.mov"] = "i"
	d := newDrive(t, files)
	at, server := mountSick(t, d.top, nil)
	behind := d.top
	d.top = at
	r := d.roll(Options{})
	if diff := cmp.Diff([]string{"unreadable sick folder/in.mov", "unreadable sick.mov"}, said(r)); diff != "" || r.OK() {
		t.Error(diff)
	}
	if r.Counts.Intact != 4 || r.Past != guard.NotPastCache {
		t.Errorf("roll: %+v", r)
	}
	got, dirs := d.generation(rollDir)
	if len(got) != 4 || len(dirs) != 1 || len(dirs["Clips"].Content) != 1 {
		t.Errorf("recorded %v, folders %v: want what was read, and hashes of whole folders only", got, dirs)
	}
	d.must(server.Unmount())
	d.top = behind
	validate(t, d.top)
	if r := d.roll(Options{}); !r.OK() || r.Counts.Intact != 6 {
		t.Errorf("once the fault is gone: %+v", r)
	}
}

// TestDriveGone: the drive is unmounted while it is read. That is not a damaged roll: the run ends with its own kind.
func TestDriveGone(t *testing.T) {
	files := clips()
	files["a/hook.mov"] = "h"
	d := newDrive(t, files)
	if os.Geteuid() != 0 {
		t.Skip("lacks root, to unmount a busy drive")
	}
	before := snapshot(t, d.top)
	for _, readOnly := range []bool{false, true} {
		var at string
		at, _ = mountSick(t, d.top, func() { _ = unix.Unmount(at, unix.MNT_DETACH) })
		var e *guard.Error
		rep, err := Run(t.Context(), at, Options{ReadOnly: readOnly})
		if !errors.As(err, &e) || e.Kind != guard.KindGone || rep.Complete || rep.OK() {
			t.Errorf("error %v, report %+v", err, rep)
		}
	}
	if diff := cmp.Diff(before, snapshot(t, d.top)); diff != "" {
		t.Error(diff)
	}
}

// TestReadOnlyDrive: the files are checked; that nothing could be recorded is said.
func TestReadOnlyDrive(t *testing.T) {
	if os.Geteuid() != 0 {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatal("lacks root")
		}
		t.Skip("lacks root, to mount")
	}
	d := newDrive(t, clips())
	at := t.TempDir()
	if err := unix.Mount(d.top, at, "", unix.MS_BIND, ""); err != nil {
		t.Skipf("lacks the right to mount: %v", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(at, unix.MNT_DETACH) })
	d.must(unix.Mount("", at, "", unix.MS_REMOUNT|unix.MS_BIND|unix.MS_RDONLY, ""))
	before := snapshot(t, d.top)
	d.top = at
	r := d.roll(Options{})
	if r.Counts != (Counts{Intact: 4}) || r.OK() || len(r.Faults) != 1 || !strings.Contains(r.Faults[0], "could not be recorded") {
		t.Errorf("roll: %+v", r)
	}
	if r := d.roll(Options{ReadOnly: true}); !r.OK() {
		t.Errorf("with ReadOnly: %+v", r)
	}
	if diff := cmp.Diff(before, snapshot(t, at)); diff != "" {
		t.Error(diff)
	}
}

// TestMountedDrivesBelow: a folder of mount points is searched through, each drive by a handle of its own.
func TestMountedDrivesBelow(t *testing.T) {
	d := newDrive(t, clips())
	top := t.TempDir()
	for _, name := range []string{"one", "two"} {
		if err := os.Mkdir(filepath.Join(top, name), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	if os.Geteuid() != 0 || unix.Mount("tmpfs", filepath.Join(top, "one"), "tmpfs", 0, "size=1m") != nil {
		t.Skip("lacks the right to mount")
	}
	t.Cleanup(func() { _ = unix.Unmount(filepath.Join(top, "one"), unix.MNT_DETACH) })
	for p, c := range snapshot(t, d.top) {
		m := &drive{t: t, top: filepath.Join(top, "one")}
		m.write(p, c)
	}
	rep, err := Run(t.Context(), top, Options{ReadOnly: true, Now: func() time.Time { return d.now }})
	if err != nil || len(rep.Rolls) != 1 || rep.Rolls[0].Folder != "one/"+rollDir || rep.Rolls[0].Counts.Intact != 4 {
		t.Errorf("%v %+v", err, rep)
	}
}
