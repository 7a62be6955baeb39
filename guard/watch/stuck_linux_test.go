package watch

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"

	"twobin/guard"
)

// stuckDrive is a file system that answers nothing about itself until it is freed.
type stuckDrive struct {
	fs.Inode
	free chan struct{}
}

var _ fs.NodeStatfser = (*stuckDrive)(nil)
var _ fs.NodeGetattrer = (*stuckDrive)(nil)

func (s *stuckDrive) Statfs(_ context.Context, out *fuse.StatfsOut) syscall.Errno {
	<-s.free
	out.Blocks, out.Bfree, out.Bavail, out.Bsize, out.Frsize = 1000, 500, 400, 4096, 4096
	return 0
}

func (s *stuckDrive) Getattr(_ context.Context, _ fs.FileHandle, out *fuse.AttrOut) syscall.Errno {
	<-s.free
	out.Mode = syscall.S_IFDIR | 0o755
	return 0
}

// A mounted drive whose questions hang in the kernel: reported in time with what the table tells, another volume beside
// it in time too, Identify gives up within its limit, and the sizes come when the drive wakes.
func TestStuckDriveOnFUSE(t *testing.T) {
	needRoot(t)
	if _, err := os.Stat("/dev/fuse"); err != nil {
		lacks(t, "/dev/fuse")
	}
	d := t.TempDir()
	stuck, well := filepath.Join(d, "stuck"), filepath.Join(d, "well")
	must(t, os.Mkdir(stuck, 0o755))
	w, err := New(Options{Patience: 200 * time.Millisecond})
	must(t, err)
	defer w.Close()
	drive := &stuckDrive{free: make(chan struct{})}
	release := sync.OnceFunc(func() { close(drive.free) })
	defer release()
	began := time.Now()
	server, err := fs.Mount(stuck, drive, &fs.Options{
		MountOptions: fuse.MountOptions{FsName: "stuck-drive", Name: "twobintest", DirectMount: true},
	})
	must(t, err)
	t.Cleanup(func() { release(); must(t, server.Unmount()) })
	v, _ := next(t, w, "arrived", stuck)
	if took := time.Since(began); took > time.Second || v.Size != 0 || v.Device != "stuck-drive" || v.ID != "" {
		t.Errorf("arrived %+v after %s, want the table's facts at once", v, took)
	}
	began = time.Now()
	mount(t, "twobin-test", well, "tmpfs", 0, "size=64k")
	v, _ = next(t, w, "arrived", well)
	if took := time.Since(began); took > time.Second || v.Size != 64<<10 {
		t.Errorf("the other volume: %+v after %s, want it whole at once", v, took)
	}
	began = time.Now()
	v, err = w.Identify(stuck)
	var g *guard.Error
	if took := time.Since(began); !errors.As(err, &g) || g.Kind != guard.KindStalled || v.Mount != stuck || took > limit/2 {
		t.Errorf("Identify = %+v, %v after %s, want stalled", v, err, took)
	}
	release()
	if v, _ := next(t, w, "answered", stuck); v.Size != 1000*4096 || v.Free != 400*4096 {
		t.Errorf("answered %+v, want the sizes", v)
	}
}
