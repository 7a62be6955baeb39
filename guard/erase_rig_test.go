//go:build linux || darwin

package guard

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// cardTree is what the dummy card of these tests holds: path to contents; a trailing slash makes an empty folder.
var cardTree = map[string]string{
	"CLIPS/A001/a.mov": "aaaa", "CLIPS/A001/b.mov": "bbbbbb", "CLIPS/c.mov": "c", "CLIPS-1/d.mov": "dd", "index.xml": "",
	"EMPTY/": "", "name \xff\n.bin": "odd name",
}

// rig is a folder that plays the card, and everything that an erase of it needs.
type rig struct {
	root string
	asked
	job EraseJob
	// copies is what the look at the copies says.
	copies error
	ident  identify
}

// identify answers what volume is at a path.
type identify func(path string) (Volume, error)

func (f identify) Identify(path string) (Volume, error) { return f(path) }

// newRig fills root and gives a job for which the lock is open.
func newRig(t *testing.T, root string, tree map[string]string) *rig {
	t.Helper()
	for path, text := range tree {
		plant(t, filepath.Join(root, path), text, strings.HasSuffix(path, "/"))
	}
	dir, err := openCard(root)
	if err != nil {
		t.Fatal(err)
	}
	defer dir.Close()
	self, err := dir.Self()
	if err != nil {
		t.Fatal(err)
	}
	list, _, err := listCard(t.Context(), dir, self.dev, "ext4")
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{root: root, asked: *allGood()}
	card := Volume{Mount: root, FSType: "ext4", ID: "uuid:CARD", Disk: "sdc", Dev: self.dev}
	r.p.Card, r.p.Dirs, r.p.Files = card, list.Dirs, nil
	for i, e := range list.Files {
		r.p.Files = append(r.p.Files, File{e, uint64(i)})
	}
	r.l.Card, r.l.Listing = card, list
	for i := range r.p.Copies {
		c, found := &r.p.Copies[i], &r.l.Copies[i]
		c.Back, found.Rehashed, found.Held = nil, nil, len(r.p.Files)
		for n, f := range r.p.Files {
			c.Back = append(c.Back, Back{f.Hash, true})
			found.Rehashed = append(found.Rehashed, Rehash{n, f.Hash, FromDevice})
		}
	}
	r.seal()
	r.ident = func(string) (Volume, error) { return r.job.Card, nil }
	r.job = EraseJob{Proof: r.p, Card: card, Now: func() time.Time { return r.now },
		Copies: func(context.Context, *Proof) error { return r.copies }}
	r.job.Ident = identify(func(path string) (Volume, error) { return r.ident(path) })
	return r
}

// plant makes a file or folder with the folders above it.
func plant(t testing.TB, path, text string, folder bool) {
	t.Helper()
	dir := filepath.Dir(path)
	if folder {
		dir = path
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if folder {
		return
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// permit asks the lock.
func (r *rig) permit(t testing.TB) *Permit {
	t.Helper()
	permit, err := r.verdict().Permit(r.p, r.f, r.l, r.pol, r.now)
	if err != nil {
		t.Fatal(err)
	}
	return permit
}

// contents is everything below a folder: path to contents, "/" for a folder, "-> x" for a link.
func contents(t testing.TB, root string) map[string]string {
	t.Helper()
	m := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == root {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		switch {
		case d.IsDir():
			m[rel] = "/"
		case d.Type()&fs.ModeSymlink != 0:
			to, err := os.Readlink(path)
			m[rel] = "-> " + to
			return err
		case d.Type().IsRegular():
			b, err := os.ReadFile(path)
			m[rel] = "=" + string(b)
			return err
		default:
			m[rel] = d.Type().String()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// checkErased compares what the erase says with what is on the card: exactly the first files are gone.
func checkErased(t testing.TB, r *rig, done Erased, err error) {
	t.Helper()
	files := r.p.Files
	if done.Files+done.Left != len(files) {
		t.Errorf("%d gone and %d left of %d", done.Files, done.Left, len(files))
	}
	var bytes int64
	for i, f := range files {
		_, e := os.Lstat(filepath.Join(r.root, f.Path))
		gone := errors.Is(e, fs.ErrNotExist)
		if i < done.Files {
			bytes += f.Size
		}
		if gone != (i < done.Files) && f.Path != done.Doubtful {
			t.Errorf("%q: gone %v, but %d files are said to be gone (%v)", f.Path, gone, done.Files, err)
		}
	}
	if bytes != done.Bytes {
		t.Errorf("%d bytes gone, said %d", bytes, done.Bytes)
	}
}

// call is one call to the card: what, and the path below it.
type call struct{ op, path string }

// hooks see every call to the card. before may do anything, and its error is the call's; lie may change the answer of self
// and stat; handles counts the folders that are open.
type hooks struct {
	before  func(c call) error
	lie     func(c call, e *cardEntry)
	handles int
}

// spied makes the job's calls go through before.
func spied(job *EraseJob, before func(c call) error) *hooks {
	h := &hooks{before: before, lie: func(call, *cardEntry) {}}
	h.install(job)
	return h
}

// lied makes the job see what lie makes of the truth.
func lied(job *EraseJob, lie func(c call, e *cardEntry)) *hooks {
	h := &hooks{before: func(call) error { return nil }, lie: lie}
	h.install(job)
	return h
}

func (h *hooks) install(job *EraseJob) {
	job.open = func(path string) (cardFolder, error) {
		if err := h.before(call{"open", ""}); err != nil {
			return nil, err
		}
		return h.wrap("")(openCard(path))
	}
}

// wrap makes a spy of a folder that was opened just now.
func (h *hooks) wrap(path string) func(f cardFolder, err error) (cardFolder, error) {
	return func(f cardFolder, err error) (cardFolder, error) {
		if err != nil {
			return nil, err
		}
		h.handles++
		return &spy{f, path, h}, nil
	}
}

// spy is a folder whose calls are seen.
type spy struct {
	folder cardFolder
	path   string
	*hooks
}

func (s *spy) entry(c call, ask func() (cardEntry, error)) (cardEntry, error) {
	if err := s.before(c); err != nil {
		return cardEntry{}, err
	}
	e, err := ask()
	s.lie(c, &e)
	return e, err
}

func (s *spy) Self() (cardEntry, error) { return s.entry(call{"self", s.path}, s.folder.Self) }

func (s *spy) Stat(name string) (cardEntry, error) {
	return s.entry(call{"stat", joinPath(s.path, name)}, func() (cardEntry, error) { return s.folder.Stat(name) })
}

func (s *spy) Names() ([]string, error) {
	if err := s.before(call{"names", s.path}); err != nil {
		return nil, err
	}
	return s.folder.Names()
}

func (s *spy) Sub(name string) (cardFolder, error) {
	path := joinPath(s.path, name)
	if err := s.before(call{"sub", path}); err != nil {
		return nil, err
	}
	return s.wrap(path)(s.folder.Sub(name))
}

func (s *spy) RemoveFile(name string) error {
	if err := s.before(call{"remove file", joinPath(s.path, name)}); err != nil {
		return err
	}
	return s.folder.RemoveFile(name)
}

func (s *spy) RemoveFolder(name string) error {
	if err := s.before(call{"remove folder", joinPath(s.path, name)}); err != nil {
		return err
	}
	return s.folder.RemoveFolder(name)
}

func (s *spy) Sync() error {
	if err := s.before(call{"sync", s.path}); err != nil {
		return err
	}
	return s.folder.Sync()
}

func (s *spy) Close() error {
	s.handles--
	return s.folder.Close()
}

// callsOf lists every call of an undisturbed erase.
func callsOf(t *testing.T) []call {
	t.Helper()
	var all []call
	r := newRig(t, t.TempDir(), cardTree)
	spied(&r.job, func(c call) error { all = append(all, c); return nil })
	if _, err := Erase(t.Context(), r.permit(t), r.job); err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(all, call{"remove folder", "EMPTY"}) || all[len(all)-1].op != "names" {
		t.Fatalf("calls of an erase: %v", all)
	}
	return all
}

// kindOf is the kind of an error, checked to be one on the card.
func kindOf(err error) Kind {
	var e *Error
	if !errors.As(err, &e) || e.Op != "erase" || e.Item != "card" {
		return 0
	}
	return e.Kind
}

func (c call) String() string { return fmt.Sprintf("%s %q", c.op, c.path) }
