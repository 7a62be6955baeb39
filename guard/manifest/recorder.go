package manifest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"strings"
	"time"

	"twobin/guard"
	"twobin/guard/offload"
)

// Info is what a generation says about who made it. All values are passed in: nothing is asked of the system.
type Info struct {
	// Tool and Version are the program's; an empty Tool is "twobin".
	Tool, Version string
	// Hostname is the machine's; empty becomes "unknown", because the schema asks for one.
	Hostname string
	// Operator is the person at the station, recorded as author with the role "data wrangler". Empty: no author.
	Operator string
	// Location and Comment are free text.
	Location, Comment string
	// Now is the wall clock with its offset; nil is time.Now.
	Now func() time.Time
	// Note, if not nil, gets what the operator should know and what condemns nothing: names that a manifest cannot hold, a
	// card that brings its own history. It may be called from several goroutines.
	Note func(*guard.Error)
}

// creator fills in the head of a manifest. Characters that XML cannot hold become U+FFFD: this is text about the work,
// not a name of a file.
func (i *Info) creator(at time.Time) Creator {
	clean := func(s, empty string) string {
		s = strings.Map(func(r rune) rune {
			if Recordable(string(r)) {
				return r
			}
			return '\uFFFD'
		}, s)
		if s == "" {
			return empty
		}
		return s
	}
	c := Creator{Created: at, Zone: true, Hostname: clean(i.Hostname, "unknown"), Tool: clean(i.Tool, "twobin"),
		Version: clean(i.Version, ""), Location: clean(i.Location, ""), Comment: clean(i.Comment, "")}
	if i.Operator != "" {
		c.Authors = []Author{{Name: clean(i.Operator, ""), Role: "data wrangler"}}
	}
	return c
}

// Header is the head of a generation made at that time.
func (i *Info) Header(p Process, at time.Time, patterns []string) Header {
	return Header{Creator: i.creator(at), Process: p, Ignore: patterns}
}

// Recorder writes what an offload leaves on each destination: a generation of the roll's history and a checksum list.
// It may be used for several destinations at once.
type Recorder struct {
	info  Info
	carry *carry
}

var _ offload.Recorder = (*Recorder)(nil)

// NewRecorder makes a recorder that signs with info.
func NewRecorder(info Info) *Recorder {
	if info.Now == nil {
		info.Now = time.Now
	}
	return &Recorder{info: info}
}

// record is what one Stage has written for one destination.
type record struct {
	item   string
	parent *os.Root
	list   *stagedList
	gen    *Generation // nil for a card that brings its own history
	failed []string
}

// Stage writes the checksum list and the next generation for copy c of p, under temporary names, flushed. Errors are
// [guard.Error] of [guard.KindRecord]; a history that stands there with a broken chain is one: it is never extended.
func (r *Recorder) Stage(ctx context.Context, root *os.Root, folder string, p *guard.Proof, c int) (offload.Staged, error) {
	rec := &record{item: p.Copies[c].Name}
	if err := r.stage(ctx, root, path.Clean(folder), p, rec); err != nil {
		rec.closeAfter(rec.drop())
		if ctx.Err() != nil {
			return nil, rec.fault("stage the hash list", guard.KindStopped, err)
		}
		return nil, rec.fault("stage the hash list", guard.KindRecord, err)
	}
	return rec, nil
}

func (r *Recorder) stage(ctx context.Context, root *os.Root, folder string, p *guard.Proof, rec *record) (err error) {
	base := path.Base(folder)
	if CheckPath(folder) != nil || base == "." {
		return fmt.Errorf("roll folder %q: %w", folder, ErrPath)
	}
	if rec.parent, err = openDir(root, path.Dir(folder)); err != nil {
		return err
	}
	if rec.list, err = stageList(rec.parent, base, p.Files); err != nil {
		return fmt.Errorf("checksum list: %w", err)
	}
	for i := range p.Files {
		if strings.HasPrefix(p.Files[i].Path, Folder+"/") {
			r.note(rec, Folder, "the card brings a hash list history of its own; it is copied and not extended, the checksum list has every file")
			return nil
		}
	}
	h, along, err := r.history(ctx, root, folder)
	if err != nil {
		return err
	}
	d := &rollDraft{info: &r.info, p: p, at: r.info.Now(), h: h}
	draft, err := d.build(ctx, root, folder)
	for _, n := range d.notes {
		r.note(rec, n.path, n.text)
	}
	if err != nil {
		return err
	}
	rec.failed = d.failed
	rec.gen, err = stage(root, folder, base, h, draft, along)
	return err
}

// history gives what the new generation is appended to, nil for a first one, and what brings along the manifests that
// the destination lacks.
func (r *Recorder) history(ctx context.Context, root *os.Root, folder string) (*History, func(*os.Root) ([]carried, error), error) {
	h, err := ReadHistory(ctx, root, folder)
	if errors.Is(err, ErrNoHistory) || errors.Is(err, ErrChain) && r.carry != nil && r.carry.resume(ctx, root, folder) {
		h, err = nil, nil
	}
	if err != nil || r.carry == nil {
		return h, nil, err
	}
	h, have, err := r.carry.history(ctx, h)
	if err != nil || h == nil || have == len(h.Links) {
		return h, nil, err
	}
	return h, func(to *os.Root) ([]carried, error) { return r.carry.stage(h.Links[have:], to) }, nil
}

func (r *Recorder) note(rec *record, path, text string) {
	if r.info.Note != nil {
		r.info.Note(&guard.Error{Op: "record", Item: rec.item, Path: path, Kind: guard.KindRecord, Err: errors.New(text)})
	}
}

func (rec *record) fault(op string, kind guard.Kind, err error) error {
	return &guard.Error{Op: op, Item: rec.item, Kind: kind, Err: err}
}

// Publish gives the staged files their names: the list, the manifest, then the chain. A generation that holds a failed
// file is published too, and then reported as [guard.KindMismatch]: this roll's folder once held other contents under
// that name.
func (rec *record) Publish() error {
	err := rec.list.publish()
	if err == nil && rec.gen != nil {
		err = rec.gen.Publish()
	} else if rec.gen != nil {
		err = errors.Join(err, rec.gen.Discard())
	}
	if err := rec.closeAfter(err); err != nil {
		return rec.fault("publish the hash list", guard.KindRecord, err)
	}
	if len(rec.failed) > 0 {
		return &guard.Error{Op: "compare with the earlier hash list", Item: rec.item, Path: rec.failed[0], Kind: guard.KindMismatch,
			Err: fmt.Errorf("%d files differ from what an earlier generation recorded", len(rec.failed))}
	}
	return nil
}

// Discard removes the temporary files.
func (rec *record) Discard() error {
	if err := rec.closeAfter(rec.drop()); err != nil {
		return rec.fault("discard the hash list", guard.KindRecord, err)
	}
	return nil
}

func (rec *record) drop() error {
	var err error
	if rec.list != nil {
		err = rec.list.discard()
	}
	if rec.gen != nil {
		err = errors.Join(err, rec.gen.Discard())
	}
	return err
}

func (rec *record) closeAfter(err error) error {
	if rec.parent != nil {
		err = errors.Join(err, rec.parent.Close())
	}
	return err
}
