// Package media joins the runner to the guard: it is the one place where a plan of the procedure becomes an offload, a
// look or an erase on real folders. Drills use it too, with an identifier of their own that calls every volume
// simulated; nothing else differs.
//
// It writes proofs into the folder it is given, and what packages offload and manifest write on destinations. A Media
// may be used from several goroutines.
package media

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/look"
	"twobin/guard/manifest"
	"twobin/guard/offload"
	"twobin/guard/proofstore"
	"twobin/guard/watch"
	"twobin/procedure"
)

// Options are what a Media is built from.
type Options struct {
	// Ident tells which volume carries a path.
	Ident guard.Identifier
	// Proofs is the folder of proof files.
	Proofs string
	Policy guard.Policy
	// Tool, Version and Host go into hash lists.
	Tool, Version, Host string
	// Now is the clock; nil is time.Now. Rand chooses the sample of a look; nil is seeded by the system.
	Now  func() time.Time
	Rand *rand.Rand
	Log  *slog.Logger
}

// Media implements [procedure.Media].
type Media struct {
	guard.Identifier
	o Options
}

var _ procedure.Media = (*Media)(nil)

// New builds a Media.
func New(o Options) *Media {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Host == "" {
		o.Host, _ = os.Hostname() // for people; a computer without a name is no reason to stop
	}
	if o.Rand == nil { // seeded by the system: which files are hashed again must not be foreseeable
		o.Rand = rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64()))
	}
	if o.Ident != nil {
		o.Ident = patient{o.Ident}
	}
	return &Media{Identifier: o.Ident, o: o}
}

// Scan lists a card.
func (m *Media) Scan(ctx context.Context, card guard.Volume) (guard.Listing, error) {
	return offload.Scan(ctx, card.Mount)
}

// Probe says what speaks against a destination: no folder, read-only, not writable. It writes one empty file of the
// engine's temporary names and takes it away again.
func (m *Media) Probe(_ context.Context, path string) (guard.Volume, error) {
	fault := func(k guard.Kind, err error) (guard.Volume, error) {
		return guard.Volume{}, &guard.Error{Op: "probe", Item: path, Kind: k, Err: err}
	}
	st, err := os.Stat(path)
	if err != nil {
		return fault(guard.KindGone, err)
	}
	if !st.IsDir() {
		return fault(guard.KindDenied, errors.New("not a folder"))
	}
	v, err := m.Identify(path)
	switch kind := kindOf(err); {
	case err == nil:
	case kind == guard.KindStalled, kind == guard.KindDenied:
		return fault(kind, err)
	default:
		return fault(guard.KindGone, err)
	}
	if v.ReadOnly {
		return fault(guard.KindReadOnly, errors.New("mounted read-only"))
	}
	if kind, err := tryWriting(path); err != nil {
		return fault(kind, err)
	}
	return v, nil
}

const (
	// probeName is what the probe's file is named after. It is the same in every run: one that a killed run left is met
	// again, because that destination was not taken into use and is probed once more.
	probeName = "probe of a destination"
	probes    = 100 // how often it may be there already: others may probe at the same moment
)

// tryWriting makes an empty file and takes it away again. An empty one that is there already is taken away first.
func tryWriting(path string) (guard.Kind, error) {
	name := filepath.Join(path, device.TempName(probeName))
	var err error
	for range probes {
		var f *os.File
		f, err = os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err == nil {
			if err := errors.Join(f.Close(), takeAway(name)); err != nil {
				return guard.KindWrite, err
			}
			return 0, nil
		}
		if !errors.Is(err, fs.ErrExist) {
			break
		}
		if st, serr := os.Lstat(name); serr == nil && (!st.Mode().IsRegular() || st.Size() > 0) {
			break // nothing of ours
		}
		if rerr := takeAway(name); rerr != nil {
			return guard.KindWrite, rerr
		}
	}
	return guard.KindDenied, err
}

// takeAway removes the probe's file, if nobody else did.
func takeAway(name string) error {
	if err := os.Remove(name); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// kindOf is the kind of an error of the media, 0 for none.
func kindOf(err error) guard.Kind {
	var ge *guard.Error
	if errors.As(err, &ge) {
		return ge.Kind
	}
	return 0
}

func (m *Media) job(p procedure.Plan) offload.Job {
	j := offload.Job{
		Label: string(p.Roll), Source: p.Card, SourcePath: p.Card.Mount, Listing: p.Listing, Extra: extra(p.Hashes), Reread: p.Reread,
		Recorder: manifest.NewRecorder(manifest.Info{
			Tool: m.o.Tool, Version: m.o.Version, Hostname: m.o.Host, Operator: p.Operator, Now: m.o.Now,
			Note: func(e *guard.Error) { m.o.Log.Warn("hash list", "roll", p.Roll, "err", e) },
		}),
		Ident: m.o.Ident, Now: m.o.Now, Log: m.o.Log,
	}
	for _, t := range p.Targets {
		j.Targets = append(j.Targets, offload.Target{Name: t.Name, Path: t.Path, Folder: t.Folder, Volume: m.asNow(t.Destination)})
	}
	return j
}

// asNow is a destination's volume as the system has it now: a drive that fell out and came back has another device name, and
// what it had may be another's. What cannot be told, or is another volume, stays as it was: the check tells.
func (m *Media) asNow(d procedure.Destination) guard.Volume {
	now, err := m.Identify(d.Path)
	if err != nil || now.ID == "" || now.ID != d.Volume.ID || now.Simulated != d.Volume.Simulated {
		return d.Volume
	}
	return now
}

// extra leaves out xxh64, which is always computed.
func extra(formats []string) []string {
	var out []string
	for _, f := range formats {
		if f != "xxh64" {
			out = append(out, f)
		}
	}
	return out
}

// Check says what speaks against an offload before its first byte.
func (m *Media) Check(ctx context.Context, p procedure.Plan) []*guard.Error {
	return offload.Check(ctx, m.job(p))
}

// Copy runs an offload.
func (m *Media) Copy(ctx context.Context, p procedure.Plan, progress func(func(time.Time) procedure.Progress)) (guard.Proof, []*guard.Error) {
	var prog offload.Progress
	progress(func(now time.Time) procedure.Progress { return sample(prog.Snapshot(now)) })
	return offload.Run(ctx, m.job(p), &prog)
}

// sample puts the engine's numbers into the view's.
func sample(s offload.Snapshot) procedure.Progress {
	p := procedure.Progress{Phase: s.Phase.String(), Done: s.Bytes, FilesDone: int(s.Files), Left: s.Left, LeftKnown: s.Left >= 0}
	if s.Elapsed >= time.Second {
		p.PerSecond = int64(float64(s.Bytes) / s.Elapsed.Seconds())
	}
	for _, t := range s.Targets {
		d := procedure.DestView{Name: t.Name, Written: t.Written, Read: t.Back}
		if t.Fault {
			d.Fault = "its copy does not count"
		}
		// Every byte of a destination is moved twice: written, and read back.
		if moved := t.Written + t.Back; s.Elapsed >= time.Second && moved > 0 && !t.Fault {
			d.PerSecond = int64(float64(moved) / s.Elapsed.Seconds())
			d.Left, d.LeftKnown = time.Duration(float64(2*s.BytesTotal-moved)/float64(moved)*float64(s.Elapsed)), true
		}
		p.Dests = append(p.Dests, d)
	}
	return p
}

// Save and Load keep proofs by their digest.
func (m *Media) Save(p *guard.Proof) (string, error) { return proofstore.Save(m.o.Proofs, p) }

// Load reads a proof and checks its digest.
func (m *Media) Load(sha string) (*guard.Proof, error) { return proofstore.Load(m.o.Proofs, sha) }

// Look takes the fresh look.
func (m *Media) Look(ctx context.Context, p *guard.Proof, card guard.Volume) guard.Look {
	return look.Take(ctx, look.Request{
		Proof: p, Card: card.Mount, Ident: m.o.Ident, Policy: m.o.Policy, Rand: m.o.Rand, Now: m.o.Now, Scan: offload.Scan,
	})
}

// standPatience is how long a drive may be silent at the last look of a shift, when a person waits for it.
const standPatience = 20 * time.Second

// What a destination that cannot be looked at is said to be.
var (
	errNotMounted = errors.New("not mounted")
	errOtherDrive = errors.New("another drive is mounted at its place")
	errNameless   = errors.New("it has no identity of its own, so it may be another drive")
	errNoAnswer   = errors.New("the drive does not answer")
)

// Stand says whether a destination is there, and with a proof whether its copy stands there whole.
func (m *Media) Stand(ctx context.Context, d procedure.Destination, p *guard.Proof) error {
	if p == nil {
		return m.present(ctx, d)
	}
	one := *p // the copies on the other destinations are asked for themselves
	one.Copies = nil
	for i := range p.Copies {
		if c := &p.Copies[i]; c.Name == d.Name && p.Proven(c) {
			one.Copies = append(one.Copies, *c)
		}
	}
	err := look.Stand(ctx, look.Request{Proof: &one, Ident: m.o.Ident, Policy: m.o.Policy, Now: m.o.Now, Patience: standPatience})
	if err == nil {
		return nil
	}
	return errors.New(strings.TrimPrefix(err.Error(), d.Name+": "))
}

// present says why a destination's own volume is not at its path, nil when it is. The system is asked aside: it may not
// come back from a dying drive.
func (m *Media) present(ctx context.Context, d procedure.Destination) error {
	type answer struct {
		v   guard.Volume
		err error
	}
	got := make(chan answer, 1)
	go func() {
		_, err := os.Stat(d.Path)
		var v guard.Volume
		if err == nil {
			v, err = m.Identify(d.Path)
		}
		got <- answer{v, err}
	}()
	limit := time.NewTimer(standPatience)
	defer limit.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-limit.C:
		return errNoAnswer
	case a := <-got:
		switch {
		case kindOf(a.err) == guard.KindStalled:
			return errNoAnswer
		case a.err != nil:
			m.o.Log.Info("last look", "destination", d.Name, "err", a.err)
			return errNotMounted
		case a.v.ID != d.Volume.ID && a.v.Mount != d.Volume.Mount:
			return errNotMounted // the path lies on the disk below, where the drive was mounted
		case a.v.ID == "" && d.Volume.ID == "":
			return errNameless
		case a.v.ID == "" || a.v.ID != d.Volume.ID || a.v.Simulated != d.Volume.Simulated:
			return errOtherDrive
		}
		return nil
	}
}

// Erase removes what the permit allows from the card that the fresh look saw.
func (m *Media) Erase(ctx context.Context, permit *guard.Permit, p *guard.Proof, card guard.Volume) (guard.Erased, error) {
	return guard.Erase(ctx, permit, guard.EraseJob{Proof: p, Card: card, Ident: m.o.Ident, Now: m.o.Now,
		Copies: func(ctx context.Context, p *guard.Proof) error {
			return look.Stand(ctx, look.Request{Proof: p, Ident: m.o.Ident, Policy: m.o.Policy, Now: m.o.Now})
		}})
}

// watched turns the watcher's changes into the runner's.
type watched struct{ out chan procedure.VolumeChange }

// Changes delivers every change.
func (w watched) Changes() <-chan procedure.VolumeChange { return w.out }

// Watched is a watcher as the runner takes it. A volume that went read-only counts as gone: no work can go on with it.
// It ends with ctx or when the watcher is closed.
func Watched(ctx context.Context, w *watch.Watcher) procedure.Volumes {
	out := make(chan procedure.VolumeChange)
	go func() {
		defer close(out)
		for c := range w.Changes() {
			v := procedure.VolumeChange{Arrived: c.Arrived, Gone: c.Gone, Answered: c.Answered}
			for _, x := range c.Changed {
				if x.ReadOnly {
					v.Gone = append(v.Gone, x)
				}
			}
			select {
			case out <- v:
			case <-ctx.Done():
				return
			}
		}
	}()
	return watched{out}
}
