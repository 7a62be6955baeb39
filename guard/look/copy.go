package look

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"

	"twobin/guard"
	"twobin/guard/device"
)

// drive is what a look needs of one destination, through handles that were opened once.
type drive interface {
	// Folder opens a folder for looking at sizes.
	Folder(rel string) (folder, error)
	// ReadBack hashes one file from the device.
	ReadBack(ctx context.Context, rel string, opt device.ReadOptions) (device.Read, error)
	// SameAs says whether path still leads here.
	SameAs(path string) bool
	Close() error
}

// folder is one folder of a drive.
type folder interface {
	Stat(name string) (device.Stat, error)
	Close() error
}

// realDrive is a drive on the system.
type realDrive struct{ *device.Root }

func openDrive(path string) (drive, error) {
	root, err := device.OpenRoot(path)
	if err != nil {
		return nil, err
	}
	return realDrive{root}, nil
}

func (d realDrive) Folder(rel string) (folder, error) {
	f, err := d.Open(rel)
	if err != nil {
		return nil, err // not f: a nil *Folder would not be a nil folder
	}
	return f, nil
}

func (d realDrive) ReadBack(ctx context.Context, rel string, opt device.ReadOptions) (device.Read, error) {
	return device.ReadBack(ctx, d.Root, rel, opt)
}

// lookAt looks at one copy, with the limit.
func (r *Request) lookAt(ctx context.Context, c work) guard.CopyLook {
	found, err := patiently(ctx, r.Patience, func(ctx context.Context, tick func()) (guard.CopyLook, error) {
		v := &visit{req: r, ctx: ctx, c: c, tick: tick, found: guard.CopyLook{Name: c.Name}}
		v.run()
		return v.found, nil
	})
	if err != nil {
		return guard.CopyLook{Name: c.Name, Err: err.Error()}
	}
	return found
}

// visit is the look at one copy under way. It runs in one goroutine, which may be left behind.
type visit struct {
	req   *Request
	ctx   context.Context
	c     work
	tick  func()
	found guard.CopyLook
	drive drive
}

// run finds out what can be found out.
func (v *visit) run() {
	volume, err := v.req.carrier(v.c.Path)
	v.tick()
	if err != nil {
		v.found.Err = err.Error()
		return
	}
	if v.drive, err = v.req.open(v.c.Path); err != nil {
		v.found.Err = err.Error()
		return
	}
	defer v.drive.Close()
	v.tick()
	v.found.Mounted, v.found.Volume = true, volume
	if err = v.rehash(); err == nil {
		err = v.sizes()
	}
	v.tick()
	if err == nil && !v.drive.SameAs(v.c.Path) {
		v.found.Mounted, err = false, errChanged
	}
	if err != nil {
		v.found.Err = err.Error()
	}
}

// rehash hashes the chosen files once more. A file that is not there is left to sizes, which counts them.
func (v *visit) rehash() error {
	scratch := new(device.Scratch)
	defer scratch.Free()
	opt := device.ReadOptions{Simulated: v.found.Volume.Simulated, Scratch: scratch, Progress: func(n int64) {
		v.tick()
		if v.req.Progress != nil && v.ctx.Err() == nil {
			v.req.Progress(v.c.Name, n)
		}
	}}
	for _, i := range v.c.chosen {
		if v.ctx.Err() != nil {
			return errStopped
		}
		read, err := v.drive.ReadBack(v.ctx, path.Join(v.c.Folder, v.req.Proof.Files[i].Path), opt)
		v.tick()
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return fmt.Errorf("hash again: %w", err)
		}
		v.found.Rehashed = append(v.found.Rehashed, guard.Rehash{File: i, Hash: read.Sum, Honesty: read.Honesty})
	}
	return nil
}

// sizes counts the files that stand there at their size. Files are in byte order, so those of a folder come together.
func (v *visit) sizes() error {
	var in folder
	var at string
	var lacking bool
	defer func() {
		if in != nil {
			_ = in.Close() // opened for looking only
		}
	}()
	files := v.req.Proof.Files
	for i := range files {
		if v.ctx.Err() != nil {
			return errStopped
		}
		dir, name := path.Split(files[i].Path)
		if in == nil && !lacking || dir != at {
			if in != nil {
				_ = in.Close()
				in = nil
			}
			var err error
			at = dir
			in, err = v.drive.Folder(path.Join(v.c.Folder, dir))
			v.tick()
			if lacking = errors.Is(err, fs.ErrNotExist); err != nil && !lacking {
				return fmt.Errorf("look for files: %w", err)
			}
		}
		if lacking {
			v.miss(&v.found.Missing, files[i].Path)
			continue
		}
		st, err := in.Stat(name)
		v.tick()
		switch {
		case errors.Is(err, fs.ErrNotExist):
			v.miss(&v.found.Missing, files[i].Path)
		case err != nil:
			return fmt.Errorf("look for files: %w", err)
		case st.Type != device.File || st.Size != files[i].Size:
			v.miss(&v.found.WrongSize, files[i].Path)
		default:
			v.found.Held++
		}
	}
	return nil
}

// miss counts a file that is not as it should be.
func (v *visit) miss(count *int, path string) {
	*count++
	if v.found.First == "" {
		v.found.First = path
	}
}
