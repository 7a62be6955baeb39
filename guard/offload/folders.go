package offload

import (
	"sync"

	"twobin/guard/device"
)

// openFolders is how many folder handles a volume keeps open. Files come sorted, so few are in use at a time.
const openFolders = 32

// folders keeps handles on the folders below one folder.
type folders struct {
	root *device.Root
	base string
	mu   sync.Mutex
	open map[string]*held
}

type held struct {
	*device.Folder
	users int
}

// newFolders serves the folders below base, a path below root.
func newFolders(root *device.Root, base string) *folders {
	return &folders{root: root, base: base, open: map[string]*held{}}
}

// get opens rel, or finds it open. put must be called when it is no longer used.
func (f *folders) get(rel string) (*held, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if h := f.open[rel]; h != nil {
		h.users++
		return h, nil
	}
	if len(f.open) >= openFolders {
		f.trim()
	}
	folder, err := f.root.Open(join(f.base, rel))
	if err != nil {
		return nil, err
	}
	h := &held{Folder: folder, users: 1}
	f.open[rel] = h
	return h, nil
}

// put ends one use.
func (f *folders) put(h *held) {
	f.mu.Lock()
	defer f.mu.Unlock()
	h.users--
}

// trim closes what nobody uses. A handle on a folder has nothing to lose when closing it fails.
func (f *folders) trim() {
	for rel, h := range f.open {
		if h.users == 0 {
			_ = h.Close()
			delete(f.open, rel)
		}
	}
}

// with calls do with the folder at rel.
func (f *folders) with(rel string, do func(*device.Folder) error) error {
	h, err := f.get(rel)
	if err != nil {
		return err
	}
	defer f.put(h)
	return do(h.Folder)
}

// close closes all of them.
func (f *folders) close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.trim()
}
