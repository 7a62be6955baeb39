package manifest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/guard/hashes"
)

// rollDraft makes a draft from the proof of an offload. It holds no record a file: they are made one by one while the
// manifest is written.
type rollDraft struct {
	info *Info
	p    *guard.Proof
	at   time.Time
	h    *History // nil: no history yet

	root   *os.Root
	folder string
	order  []int32  // p.Files in depth-first order
	dirs   []Item   // the folders that stand on the destination
	extra  []string // on the destination, not on the card: not hashed in this run
	below  []child
	more   map[int32][]Digest // digests that had to be computed beside the proof's

	notes  []note
	failed []string
}

type note struct{ path, text string }

// child is a history further down.
type child struct {
	dir string
	h   *History
}

func (d *rollDraft) note(path, format string, args ...any) {
	d.notes = append(d.notes, note{path, fmt.Sprintf(format, args...)})
}

func (d *rollDraft) build(ctx context.Context, root *os.Root, folder string) (*Draft, error) {
	d.root, d.folder = root, folder
	patterns := DefaultIgnore()
	if d.h != nil && len(d.h.Newest.Ignore) > 0 {
		patterns = MergePatterns(d.h.Newest.Ignore, patterns)
	}
	ig, warnings := NewIgnore(patterns)
	for _, w := range warnings {
		d.note(Folder, "%s", w)
	}
	if d.h != nil {
		for _, u := range d.h.Unlisted {
			d.note(Folder+"/"+u, "stands in no chain and is not used: a write was interrupted, or it was put there")
		}
	}
	if err := d.look(ctx, ig); err != nil {
		return nil, err
	}
	d.sort(ig)
	if err := d.readMore(ctx); err != nil {
		return nil, err
	}
	draft := &Draft{Header: d.info.Header(Transfer, d.at, patterns), Format: hashes.XXH64, Items: d.items}
	for _, c := range d.below {
		draft.Below = append(draft.Below, c.dir)
		last := c.h.Links[len(c.h.Links)-1]
		draft.Header.References = append(draft.Header.References, Reference{Path: c.dir + "/" + Folder + "/" + last.Name, C4: last.C4})
	}
	d.unrecordable(draft)
	d.compare()
	return draft, nil
}

// look walks the roll's folder on the destination: for what is there beside the card's files, and for histories.
func (d *rollDraft) look(ctx context.Context, ig Ignore) error {
	has := func(p string) bool {
		_, ok := slices.BinarySearchFunc(d.p.Files, p, func(f guard.File, p string) int { return strings.Compare(f.Path, p) })
		return ok
	}
	t, err := walkSome(ctx, d.root, d.folder, ig, Tree{skip: has})
	if err != nil {
		return err
	}
	for _, f := range t.Files {
		d.extra = append(d.extra, f.Path)
	}
	d.dirs = t.Dirs
	if len(d.extra) > 0 {
		d.note(d.extra[0], "%d files stand here that are not on the card: their folders get no folder hash", len(d.extra))
	}
	slices.SortFunc(t.Histories, ComparePaths)
	for _, dir := range t.Histories {
		if n := len(d.below); n > 0 && under(dir, d.below[n-1].dir) {
			continue // belongs to the history above it
		}
		h, err := ReadHistory(ctx, d.root, join(d.folder, dir))
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			d.note(dir+"/"+Folder, "a history on the card that cannot be used (%v): its files are listed like any others", err)
		case len(h.Links) > 0 && CanRecord(dir):
			d.below = append(d.below, child{dir, h})
		}
	}
	return nil
}

// sort brings files and folders into the order of the manifest, without what is ignored.
func (d *rollDraft) sort(ig Ignore) {
	for i := range d.p.Files {
		if !ig.Ignored(d.p.Files[i].Path) {
			d.order = append(d.order, int32(i))
		}
	}
	slices.SortFunc(d.order, func(a, b int32) int { return ComparePaths(d.p.Files[a].Path, d.p.Files[b].Path) })
	slices.SortFunc(d.dirs, func(a, b Item) int { return ComparePaths(a.Path, b.Path) })
	slices.SortFunc(d.extra, ComparePaths)
}

// ComparePaths orders paths depth first, as a manifest lists them: what is below a folder stands together, names ascending.
func ComparePaths(a, b string) int {
	switch {
	case a == b:
		return 0
	case pathLess(a, b):
		return -1
	}
	return 1
}

// inChild is the history further down that file p belongs to, or nil.
func (d *rollDraft) inChild(p string) *child {
	for i := range d.below {
		if under(p, d.below[i].dir) {
			return &d.below[i]
		}
	}
	return nil
}

func (d *rollDraft) known(p string) *Known {
	if d.h == nil {
		return nil
	}
	return d.h.Files[p]
}

// digests are those at hand for file i: XXH64, what the policy asked for, and what readMore added.
func (d *rollDraft) digests(i int32) []Digest {
	ds := []Digest{{hashes.XXH64, hashes.Text64(d.p.Files[i].Hash)}}
	for _, f := range hashes.Formats() {
		if texts := d.p.Hashes[f]; f != hashes.XXH64 && int(i) < len(texts) {
			ds = append(ds, Digest{f, texts[i]})
		}
	}
	return append(ds, d.more[i]...)
}

// readMore computes a known format for files whose earlier generations (of another program) have none of those at
// hand: a known value must be compared before another format is added. The bytes read must have the proof's XXH64.
func (d *rollDraft) readMore(ctx context.Context) error {
	if d.h == nil || len(d.h.Files) == 0 {
		return nil
	}
	at := func(f string) bool { return f == hashes.XXH64 || d.p.Hashes[f] != nil }
	for _, i := range d.order {
		f := &d.p.Files[i]
		need := Needs(d.known(f.Path), at)
		if need == "" {
			continue
		}
		text, sum, err := hashFile(ctx, d.root, join(d.folder, f.Path), need)
		if err != nil {
			return fmt.Errorf("read %q to compare with an earlier generation: %w", f.Path, err)
		}
		if sum != f.Hash {
			return fmt.Errorf("read %q to compare with an earlier generation: other bytes than were copied", f.Path)
		}
		if d.more == nil {
			d.more = map[int32][]Digest{}
		}
		d.more[i] = []Digest{{need, text}}
	}
	return nil
}

// hashFile reads a file and gives one format's text and XXH64. It heeds ctx between blocks.
func hashFile(ctx context.Context, root *os.Root, name, format string) (string, uint64, error) {
	h, err := hashes.New(format)
	if err != nil {
		return "", 0, err
	}
	f, err := OpenFile(root, name)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	x := xxhash.New()
	w := io.MultiWriter(h, x)
	for ctx.Err() == nil {
		_, err := io.CopyN(w, f, 4<<20)
		if errors.Is(err, io.EOF) {
			return hashes.Text(format, h.Sum(nil)), x.Sum64(), nil
		}
		if err != nil {
			return "", 0, err
		}
	}
	return "", 0, ctx.Err()
}

// compare says which files differ from earlier records: here (those go into the manifest as failed), and in histories
// that the card brought.
func (d *rollDraft) compare() {
	for _, i := range d.order {
		p := d.p.Files[i].Path
		if c := d.inChild(p); c != nil {
			if _, failed := Judge(c.h.Files[p[len(c.dir)+1:]], d.digests(i), d.at); failed {
				d.note(p, "differs from the history that the card brought in %q", c.dir)
			}
			continue
		}
		if d.h == nil {
			continue
		}
		if _, failed := Judge(d.known(p), d.digests(i), d.at); failed {
			d.failed = append(d.failed, p)
		}
	}
}

// unrecordable notes names that no manifest can hold, in the notes and in the manifest itself.
func (d *rollDraft) unrecordable(draft *Draft) {
	n, first := 0, ""
	for _, i := range d.order {
		if p := d.p.Files[i].Path; !CanRecord(p) && d.inChild(p) == nil {
			if n++; n == 1 {
				first = p
			}
		}
	}
	if n == 0 {
		return
	}
	text := fmt.Sprintf("%d files have names that cannot be written in XML; they are in the checksum list only", n)
	d.note(first, "%s", text)
	c := &draft.Header.Creator
	c.Comment = strings.TrimPrefix(c.Comment+"; "+text, "; ")
}

// items yields the draft's items: files, folders and what else stands there, merged in depth-first order.
func (d *rollDraft) items(yield func(DraftItem) bool) {
	files, dirs, extra := d.order, d.dirs, d.extra
	for len(files) > 0 || len(dirs) > 0 || len(extra) > 0 {
		next, from := "", 0
		consider := func(p string, n int) {
			if from == 0 || pathLess(p, next) {
				next, from = p, n
			}
		}
		if len(files) > 0 {
			consider(d.p.Files[files[0]].Path, 1)
		}
		if len(dirs) > 0 {
			consider(dirs[0].Path, 2)
		}
		if len(extra) > 0 {
			consider(extra[0], 3)
		}
		var it DraftItem
		switch from {
		case 1:
			it, files = d.item(files[0]), files[1:]
		case 2:
			it, dirs = DraftItem{Path: next, Dir: true, Modified: dirs[0].Modified.UTC()}, dirs[1:]
		case 3:
			it, extra = DraftItem{Path: next}, extra[1:]
		}
		if !yield(it) {
			return
		}
	}
}

func (d *rollDraft) item(i int32) DraftItem {
	f := &d.p.Files[i]
	ds := d.digests(i)
	raw, err := hashes.Parse(hashes.XXH64, ds[0].Text)
	if err != nil {
		panic("manifest: own digest: " + err.Error())
	}
	it := DraftItem{Path: f.Path, Digest: raw}
	if CanRecord(f.Path) && d.inChild(f.Path) == nil {
		hs, _ := Judge(d.known(f.Path), ds, d.at)
		it.File = &FileRecord{Path: f.Path, Size: f.Size, Modified: time.Unix(0, f.MTime).UTC(), Hashes: hs}
	}
	return it
}
