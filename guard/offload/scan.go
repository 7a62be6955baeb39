package offload

import (
	"context"
	"errors"
	"slices"
	"strings"

	"twobin/guard"
	"twobin/guard/device"
)

// deepest is how many folders may stand within each other. No card comes near it; a file system that shows a folder
// within itself would go on for ever. Own choice.
const deepest = 128

// errDeep is the cause when folders go deeper than that.
var errDeep = errors.New("folders within folders without end")

// Scan lists what stands below root, sorted by path. Links are not followed, mounts not entered, access times not
// changed where the system can do that; links, mounts and whatever is neither file nor folder are in Listing.Odd. The
// error is a [*guard.Error]; with KindStalled after DefaultPatience in one call. ctx is heeded between entries.
func Scan(ctx context.Context, root string) (guard.Listing, error) {
	w := newWard(DefaultPatience)
	defer w.stop()
	var list guard.Listing
	var err error
	k := w.spawn(DefaultPatience, nil, func(p *pulse) {
		var r *device.Root
		if err = p.do(func() (err error) { r, err = device.OpenRoot(root); return err }); err != nil {
			return
		}
		list, err = scan(ctx, r, p)
		err = errors.Join(err, r.Close())
	})
	if !k.wait() {
		return guard.Listing{}, fault("scan", card, "", guard.KindStalled, errStalled)
	}
	if err != nil {
		return guard.Listing{}, fault("scan", card, "", guard.KindSourceRead, err)
	}
	return list, nil
}

// scan lists below an open root; every call to the volume is seen by p.
func scan(ctx context.Context, root *device.Root, p *pulse) (guard.Listing, error) {
	s := scanner{ctx: ctx, pulse: p}
	var top *device.Folder
	err := p.do(func() (err error) { top, err = root.Open(""); return err })
	if err == nil {
		err = s.folder(top, "", 0)
	}
	if err != nil {
		return guard.Listing{}, err
	}
	slices.SortFunc(s.list.Files, func(a, b guard.Entry) int { return strings.Compare(a.Path, b.Path) })
	slices.Sort(s.list.Dirs)
	slices.Sort(s.list.Odd)
	s.list.Files = slices.Clip(s.list.Files)
	return s.list, nil
}

// scanner gathers one listing.
type scanner struct {
	ctx   context.Context
	pulse *pulse
	list  guard.Listing
}

// folder lists f, whose path below the root is rel, closes it and goes into its folders.
func (s *scanner) folder(f *device.Folder, rel string, depth int) error {
	var subs []string
	err := s.pulse.do(func() error {
		self, err := f.Self()
		if err != nil {
			return err
		}
		return f.List(func(name string, st device.Stat) error {
			s.pulse.renew() // a folder of a million files is many calls, not one
			path := join(rel, name)
			switch {
			case st.Type == device.File:
				s.list.Files = append(s.list.Files, guard.Entry{Path: path, Size: st.Size, MTime: st.MTime})
			case st.Type == device.Dir && st.Dev == self.Dev:
				subs = append(subs, name)
			default:
				s.list.Odd = append(s.list.Odd, path)
			}
			return s.ctx.Err()
		})
	})
	slices.Sort(subs)
	for _, name := range subs {
		if err == nil {
			err = s.enter(f, name, join(rel, name), depth+1)
		}
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return fault("scan", card, rel, guard.KindSourceRead, err)
	}
	return nil
}

// enter goes into one folder, or notes it as odd when it is a mount.
func (s *scanner) enter(f *device.Folder, name, path string, depth int) error {
	if depth > deepest {
		return errDeep
	}
	var sub *device.Folder
	err := s.pulse.do(func() (err error) { sub, err = f.Sub(name); return err })
	if errors.Is(err, device.ErrMount) {
		s.list.Odd = append(s.list.Odd, path)
		return nil
	}
	if err != nil {
		return fault("scan", card, path, guard.KindSourceRead, err)
	}
	s.list.Dirs = append(s.list.Dirs, path)
	return s.folder(sub, path, depth)
}

// join puts a name below a relative path.
func join(rel, name string) string {
	if rel == "" {
		return name
	}
	return rel + "/" + name
}

// split takes a relative path apart into its folder ("" for the top) and name.
func split(path string) (folder, name string) {
	if i := strings.LastIndexByte(path, '/'); i >= 0 {
		return path[:i], path[i+1:]
	}
	return "", path
}
