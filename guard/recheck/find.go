package recheck

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"twobin/guard/device"
	"twobin/guard/manifest"
)

// place is a roll folder: parent is an absolute path that is opened anew for each roll, name the folder in it ("." if
// the folder is a volume's top).
type place struct {
	parent, name string
	// shown is the folder relative to the path asked for.
	shown string
	// lists are the checksum lists beside it, in their order.
	lists   []string
	history bool
}

// maxDepth is how deep rolls are looked for. Production, day, camera, label is four.
const maxDepth = 32

// finder looks for rolls below a path.
type finder struct {
	ctx    context.Context
	found  []place
	unread []string
}

// find gives the rolls below path, sorted, and what could not be listed. A roll folder is not searched for further ones:
// histories in it belong to it.
func find(ctx context.Context, path string) ([]place, []string, error) {
	f := &finder{ctx: ctx}
	if parent := filepath.Dir(path); parent != path {
		if p, ok := look(parent, filepath.Base(path)); ok {
			p.shown = "."
			return []place{p}, nil, nil
		}
	}
	root, err := device.OpenRoot(path)
	if err != nil {
		return nil, nil, err
	}
	defer root.Close()
	if _, err := root.OS().Lstat(manifest.Folder); err == nil { // a volume's top, without a folder above it
		return []place{{parent: path, name: ".", shown: ".", history: true}}, nil, nil
	}
	err = f.search(&root.Folder, path, "", 0)
	slices.SortFunc(f.found, func(a, b place) int { return strings.Compare(a.shown, b.shown) })
	return f.found, f.unread, err
}

// look tells whether the folder name in parent is a roll.
func look(parent, name string) (place, bool) {
	root, err := os.OpenRoot(parent)
	if err != nil {
		return place{}, false
	}
	defer root.Close()
	p := place{parent: parent, name: name}
	if fi, err := root.Lstat(name + "/" + manifest.Folder); err == nil && fi.IsDir() {
		p.history = true
	}
	for n := 1; ; n++ {
		list := manifest.ListName(name, n)
		if fi, err := root.Lstat(list); err != nil || !fi.Mode().IsRegular() {
			break
		}
		if fi, err := root.Lstat(strings.TrimSuffix(list, manifest.ListExt)); n > 1 && err == nil && fi.IsDir() {
			continue // the first list of a roll folder of that very name
		}
		p.lists = append(p.lists, list)
	}
	return p, p.history || len(p.lists) > 0
}

// search goes through one folder. path is where it is, shown the same relative to the start.
func (f *finder) search(dir *device.Folder, path, shown string, depth int) error {
	if err := f.ctx.Err(); err != nil {
		return err
	}
	var folders, lists []string
	err := dir.List(func(name string, st device.Stat) error {
		switch {
		case st.Type == device.Dir:
			folders = append(folders, name)
		case st.Type == device.File && strings.HasSuffix(name, manifest.ListExt) && len(name) > len(manifest.ListExt):
			lists = append(lists, strings.TrimSuffix(name, manifest.ListExt))
		}
		return nil
	})
	if err != nil {
		if shown == "" {
			return err
		}
		f.unread = append(f.unread, shown)
		return nil
	}
	for _, base := range lists {
		if owner := secondList.FindStringSubmatch(base); owner != nil && slices.Contains(lists, owner[1]) {
			continue // a further list of a roll that has a first one
		}
		if !slices.Contains(folders, base) {
			folders = append(folders, base) // the roll folder is gone: all of it is missing
		}
	}
	for _, name := range folders {
		if slices.Contains(systemFolders, name) {
			continue
		}
		if p, ok := look(path, name); ok {
			p.shown = join(shown, name)
			f.found = append(f.found, p)
			continue
		}
		if err := f.enter(dir, path, shown, name, depth); err != nil {
			return err
		}
	}
	return nil
}

// systemFolders stand at the top of volumes, belong to the systems that use them and are often closed to users. Common
// practice, no source.
var systemFolders = []string{"lost+found", "$RECYCLE.BIN", "System Volume Information", ".Trashes", ".Spotlight-V100", ".fseventsd",
	".DocumentRevisions-V100", ".TemporaryItems"}

var secondList = regexp.MustCompile(`^(.*)_[0-9]+$`)

func (f *finder) enter(dir *device.Folder, path, shown, name string, depth int) error {
	below, at := filepath.Join(path, name), join(shown, name)
	if depth >= maxDepth {
		f.unread = append(f.unread, at)
		return nil
	}
	sub, err := dir.Sub(name)
	if errors.Is(err, device.ErrMount) { // another volume is mounted here: a root of its own
		var root *device.Root
		if root, err = device.OpenRoot(below); err == nil {
			defer root.Close()
			return f.search(&root.Folder, below, at, depth+1)
		}
	}
	if err != nil {
		f.unread = append(f.unread, at)
		return nil
	}
	defer sub.Close()
	return f.search(sub, below, at, depth+1)
}

func join(dir, name string) string {
	if dir == "" || dir == "." {
		return name
	}
	return dir + "/" + name
}
