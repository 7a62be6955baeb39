package offload

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"twobin/guard"
	"twobin/guard/device"
)

// overhead is room taken for each file and folder beside its contents, in bytes: its entry, and the rounding of its last
// allocation unit is counted apart. Own estimate, on the safe side for the file systems in use.
const overhead = 512

// recordRoom is room for the hash lists beside a copy, per file, in bytes (own estimate: a manifest entry with two
// digests, a list line, and the path again in each).
const recordRoom = 1024

// fatLimit is the longest file that FAT holds, in bytes.
const fatLimit = 1<<32 - 1

// Check says everything that can be known before the first byte, for the card and for every destination: each of the
// job's destinations may have several errors. It writes to a destination only the folder in which names are tried, and
// takes it away again. An empty result promises nothing about what changes afterwards; Run looks again.
//
// KindSameDevice comes also when it is not known whether two of them share a device (Volume.Disk empty): whoever allows
// that, for a further copy which counts for nothing, filters it out.
func Check(ctx context.Context, job Job) []*guard.Error {
	w := newWard(job.patience())
	defer w.stop()
	c := checker{ctx: ctx, job: &job, ward: w}
	c.card()
	c.devices()
	results := make([][]*guard.Error, len(job.Targets))
	workers := make([]*worker, len(job.Targets))
	for i, t := range job.Targets {
		workers[i] = w.spawn(job.patience(), nil, func(p *pulse) { results[i] = c.target(p, t) })
	}
	for i, t := range job.Targets {
		if workers[i].wait() {
			c.errs = append(c.errs, results[i]...)
		} else {
			c.errs = append(c.errs, fault("check", t.Name, "", guard.KindStalled, errStalled))
		}
	}
	if err := ctx.Err(); err != nil {
		return []*guard.Error{{Op: "check", Kind: guard.KindStopped, Err: err}}
	}
	return c.errs
}

// checker gathers the errors of one Check.
type checker struct {
	ctx  context.Context
	job  *Job
	ward *ward
	errs []*guard.Error
}

func (c *checker) add(err *guard.Error) { c.errs = append(c.errs, err) }

// card looks at what does not depend on a destination.
func (c *checker) card() {
	for _, odd := range c.job.Listing.Odd {
		c.add(&guard.Error{Op: "check", Item: card, Path: odd, Kind: guard.KindSourceOdd, Err: errors.New("neither file nor folder of the card")})
	}
	if err := refuse(c.job.Listing); err != nil {
		c.add(err)
	}
	var root *device.Root
	err := c.ward.aside(c.job.patience(), func() (err error) {
		if root, err = device.OpenRoot(c.job.SourcePath); err == nil {
			err = root.Close()
		}
		return err
	})
	if err != nil {
		c.add(&guard.Error{Op: "check", Item: card, Kind: goneOr(err), Err: err})
		return
	}
	if err := c.identity(card, c.job.SourcePath, c.job.Source); err != nil {
		c.add(err)
	}
}

// identity asks whether path is still on the volume that the job names.
func (c *checker) identity(item, path string, want guard.Volume) *guard.Error {
	if c.job.Ident == nil || want.ID == "" {
		return nil
	}
	var is guard.Volume
	err := c.ward.aside(c.job.patience(), func() (err error) { is, err = c.job.Ident.Identify(path); return err })
	var known *guard.Error
	switch {
	case errors.As(err, &known): // it knows the path; the operator knows the drive by its name
		return &guard.Error{Op: "check", Item: item, Kind: known.Kind, Err: known.Err}
	case err == nil && is.ID != want.ID:
		err = fmt.Errorf("%w: %s is there, not %s", errGone, is.ID, want.ID)
	}
	if err != nil {
		return fault("check", item, "", guard.KindGone, err)
	}
	return nil
}

// devices compares the physical devices of card and destinations.
func (c *checker) devices() {
	type one struct {
		name string
		guard.Volume
	}
	all := []one{{card, c.job.Source}}
	for _, t := range c.job.Targets {
		all = append(all, one{t.Name, t.Volume})
	}
	for i := 1; i < len(all); i++ {
		for _, other := range all[:i] {
			var cause error
			switch {
			case all[i].Disk == "" || other.Disk == "":
				cause = fmt.Errorf("not known to be another device than %s", other.name)
			case all[i].SharesDisk(other.Volume):
				cause = fmt.Errorf("the same device as %s: %s", other.name, other.Disk)
			default:
				continue
			}
			c.add(&guard.Error{Op: "check", Item: all[i].name, Kind: guard.KindSameDevice, Err: cause})
		}
	}
}

// target looks at one destination, in a goroutine of its own.
func (c *checker) target(p *pulse, t Target) (errs []*guard.Error) {
	note := func(path string, kind guard.Kind, err error) {
		errs = append(errs, fault("check", t.Name, path, kind, err))
	}
	var root *device.Root
	if err := p.do(func() (err error) { root, err = device.OpenRoot(t.Path); return err }); err != nil {
		return []*guard.Error{{Op: "check", Item: t.Name, Kind: goneOr(err), Err: err}}
	}
	defer root.Close()
	if err := c.identity(t.Name, t.Path, t.Volume); err != nil {
		return []*guard.Error{err}
	}
	names := unusual(c.job.Listing)
	for _, part := range []string{t.Folder} {
		names = append(names, folderNames(part)...)
	}
	var found *guard.Error
	err := p.do(func() (err error) { found, err = tryNames(root, t.Name, names, collisions(c.job.Listing)); return err })
	switch {
	case err != nil:
		note("", guard.KindWrite, err)
		if k := errs[len(errs)-1].Kind; k == guard.KindReadOnly || k == guard.KindDenied || k == guard.KindGone {
			return errs
		}
	case found != nil:
		errs = append(errs, found)
	}
	need, files, err := c.standing(p, root, t, note)
	if err != nil {
		note("", guard.KindWrite, err)
		return errs
	}
	if err := c.room(p, root, need, files); err != nil {
		err.Item = t.Name
		errs = append(errs, err)
	}
	if !root.HoldsHuge() {
		for _, e := range c.job.Listing.Files {
			if e.Size > fatLimit {
				note(e.Path, guard.KindNoSpace, errors.New("FAT holds no file of 4 GiB or more"))
			}
		}
	}
	return errs
}

// folderNames are the unusual names on the way to the roll's folder.
func folderNames(folder string) []string {
	return unusual(guard.Listing{Dirs: neededDirs(guard.Listing{Dirs: []string{folder}})})
}

// standing compares what stands in the roll's folder already, by name and size, and adds up what is lacking, in bytes and
// in files and folders.
func (c *checker) standing(p *pulse, root *device.Root, t Target, note func(string, guard.Kind, error)) (need, files int64, err error) {
	var block int64 = device.Align
	fresh := false
	err = p.do(func() error {
		if s, err := root.Space(); err == nil {
			block = max(s.Block, 1)
		}
		f, err := root.Open(t.Folder)
		if errors.Is(err, fs.ErrNotExist) {
			fresh = true
			return nil
		}
		if err != nil {
			return err
		}
		return f.Close()
	})
	if err != nil {
		note(t.Folder, guard.KindWrite, err)
		return 0, 0, nil
	}
	holes := c.holes(root)
	open := newFolders(root, t.Folder)
	defer open.close()
	for _, e := range c.job.Listing.Files {
		if err := c.ctx.Err(); err != nil {
			return 0, 0, err
		}
		if !fresh {
			there, err := c.same(p, open, e)
			if err != nil {
				note(e.Path, guard.KindExists, err)
				continue
			}
			if there {
				continue
			}
		}
		size := e.Size
		if used, ok := holes[e.Path]; ok {
			size = used
		}
		need += (size + block - 1) / block * block
		files++
	}
	files += int64(len(c.job.Listing.Dirs))
	return need + files*overhead + int64(len(c.job.Listing.Files))*recordRoom + block*int64(len(c.job.Listing.Dirs)), files, nil
}

// same says whether a file of that name and size stands there; something else of that name is an error.
func (c *checker) same(p *pulse, open *folders, e guard.Entry) (there bool, err error) {
	dir, name := split(e.Path)
	var st device.Stat
	err = p.do(func() error {
		return open.with(dir, func(f *device.Folder) (err error) { st, err = f.Stat(name); return err })
	})
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return false, err
	case st.Type != device.File || st.Size != e.Size:
		return false, errDifferent
	}
	return true, nil
}

// holes has the room that sparse files of the card really take, for destinations that can keep holes (the kernel's own
// file systems; FAT cannot, which HoldsHuge tells). Files below a block never count as sparse.
func (c *checker) holes(root *device.Root) map[string]int64 {
	if !root.Local() || !root.HoldsHuge() {
		return nil
	}
	used := map[string]int64{}
	_ = c.ward.aside(c.job.patience(), func() error {
		src, err := device.OpenRoot(c.job.SourcePath)
		if err != nil {
			return err
		}
		defer src.Close()
		open := newFolders(src, "")
		defer open.close()
		for _, e := range c.job.Listing.Files {
			if e.Size <= 16*device.BlockSize {
				continue
			}
			dir, name := split(e.Path)
			_ = open.with(dir, func(f *device.Folder) error {
				if st, err := f.Stat(name); err == nil && st.Used+device.BlockSize < st.Size {
					used[e.Path] = st.Used
				}
				return nil
			})
		}
		return nil
	})
	return used
}

// room compares need with what is free.
func (c *checker) room(p *pulse, root *device.Root, need, files int64) *guard.Error {
	var s device.Space
	if err := p.do(func() (err error) { s, err = root.Space(); return err }); err != nil {
		return fault("check", "", "", guard.KindGone, err)
	}
	switch {
	case need > s.Free:
		return &guard.Error{Op: "check", Kind: guard.KindNoSpace, Need: need - s.Free, Err: fmt.Errorf("%d bytes needed, %d free", need, s.Free)}
	case s.Files >= 0 && files > s.Files:
		return &guard.Error{Op: "check", Kind: guard.KindNoSpace, Err: fmt.Errorf("room for %d more files, %d needed", s.Files, files)}
	}
	return nil
}
