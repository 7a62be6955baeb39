//go:build !linux

package watch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/shirou/gopsutil/v3/disk"

	"twobin/guard"
)

// tableLimit is how long the system may take for its mount table; a share whose server is gone can hold it up.
const tableLimit = 2 * time.Second

// machine answers questions about the real machine. It holds nothing. What differs between platforms is in
// describe_*.go.
type machine struct{}

var _ Tables = machine{}

// polledSystem is the real machine where nothing wakes us: Wait ends with time.
type polledSystem struct {
	machine
	polled
}

// NewSystem gives the real machine. Log may be nil. Reader folders need not be named here: they are looked at.
func NewSystem(_ *slog.Logger, _ ...string) (System, error) {
	return polledSystem{polled: newPolled()}, nil
}

// Mounts lists the mounts through gopsutil. Removable drives without a medium are reported there as warnings beside
// the others, so an error counts only if nothing was listed.
func (machine) Mounts() ([]Mount, error) {
	ctx, cancel := context.WithTimeout(context.Background(), tableLimit)
	defer cancel()
	a, ok := within(aside(func() ([]disk.PartitionStat, error) { return disk.PartitionsWithContext(ctx, true) }), tableLimit)
	if !ok {
		return nil, fmt.Errorf("read the mount table: no answer within %s", tableLimit)
	}
	if len(a.val) == 0 && a.err != nil {
		return nil, fmt.Errorf("read the mount table: %w", a.err)
	}
	ms := make([]Mount, 0, len(a.val))
	for _, p := range a.val {
		m := Mount{Point: p.Mountpoint, FSType: p.Fstype, Source: p.Device}
		for _, o := range p.Opts {
			switch o {
			case "ro":
				m.ReadOnly = true
			case "nobrowse":
				m.Hidden = true
			}
		}
		if runtime.GOOS == "windows" && len(m.Point) == 2 {
			m.Point += `\`
		}
		m.Instance = instance(m)
		ms = append(ms, m)
	}
	return uncovered(ms), nil
}

// uncovered leaves out mounts at a place where a later one stands.
func uncovered(ms []Mount) []Mount {
	last := make(map[string]int, len(ms))
	for i, m := range ms {
		last[m.Point] = i
	}
	out := ms[:0]
	for i, m := range ms {
		if last[m.Point] == i {
			out = append(out, m)
		}
	}
	return out
}

// Folder looks at a folder.
func (machine) Folder(path string) (Folder, error) {
	d, err := os.Open(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return Folder{}, nil
	case err != nil:
		return Folder{}, err
	}
	defer d.Close()
	fi, err := d.Stat()
	if err != nil {
		return Folder{}, err
	}
	if !fi.IsDir() {
		return Folder{}, nil
	}
	f := Folder{Present: true}
	if f.Real, err = filepath.EvalSymlinks(path); err != nil {
		return Folder{}, err
	}
	names, err := d.Readdirnames(1)
	f.Filled = err == nil && len(names) > 0
	f.Dev, f.Inode, f.Born = folderNumbers(d, fi)
	return f, nil
}

// Carrier finds the mount by the mount point that the system names for the path.
func (t machine) Carrier(path string) (guard.Volume, error) {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return guard.Volume{}, err
	}
	ms, err := t.Mounts()
	if err != nil {
		return guard.Volume{}, err
	}
	if point, err := mountPoint(real); err == nil {
		real = point
	}
	i := carrier(ms, real)
	if i < 0 {
		return guard.Volume{}, fmt.Errorf("find the volume of %s: no mount above it", path)
	}
	return t.Describe(ms[i])
}

// Disk names the physical device, see the package comment.
func (machine) Disk(m Mount) string {
	if h := m.server(); h != "" {
		return "server:" + h
	}
	return physical(m)
}

// facts is where every description starts.
func (t machine) facts(m Mount) guard.Volume {
	return guard.Volume{
		Mount: m.Point, Device: m.Source, FSType: strings.ToLower(m.FSType), ReadOnly: m.ReadOnly, Disk: t.Disk(m),
	}
}
