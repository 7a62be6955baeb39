package world

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/training/drill"
)

// Media is the real media with the plan's faults in front of it. It keeps the pace of a copy and lets a simulated drive
// be full, read-only, gone or wrong, and a card be hard to read. What it lets through, the real engine does.
type Media struct {
	procedure.Media
	w *World
}

// Media puts this world's faults in front of real media that was built with this world as its identifier.
func (w *World) Media(real procedure.Media) *Media { return &Media{Media: real, w: w} }

var _ procedure.Media = (*Media)(nil)

// errSimulated is the cause of every fault that a drill makes up.
var errSimulated = errors.New("simulated by the drill")

// due is an incident of a roll that has not begun yet.
func (m *Media) due(l procedure.Label, k drill.Kind) (drill.Planned, bool) {
	m.w.mu.Lock()
	defer m.w.mu.Unlock()
	i, ok := m.w.plan.Of(l, k)
	return i, ok && !m.w.scene.Begun(i.ID)
}

// dueOn is due, with the drive that it really happens to.
func (m *Media) dueOn(l procedure.Label, k drill.Kind) (drill.Planned, bool) {
	i, ok := m.due(l, k)
	if ok {
		i.Dest = m.w.holder(i)
	}
	return i, ok
}

// start lets an incident begin. A shift that does not take it any more has ended: nothing depends on it.
func (m *Media) start(ctx context.Context, i drill.Planned) {
	if err := m.w.begin(ctx, i); err != nil {
		m.w.log.Warn("drill incident", "id", i.ID, "err", err)
	}
}

// Check is the real check, and what the simulated drives add to it.
func (m *Media) Check(ctx context.Context, p procedure.Plan) []*guard.Error {
	if i, ok := m.dueOn(p.Roll, drill.DriveFull); ok {
		m.w.mu.Lock()
		if d := m.w.drives[i.Dest]; d != nil {
			d.Capacity = m.w.used(filepath.Join(drivesDir, i.Dest)) + p.Listing.Bytes()/3
		}
		m.w.mu.Unlock()
		m.start(ctx, i)
	}
	if i, ok := m.dueOn(p.Roll, drill.DriveReadOnly); ok {
		m.w.mu.Lock()
		if d := m.w.drives[i.Dest]; d != nil {
			d.readOnly = true
		}
		m.w.mu.Unlock()
		m.start(ctx, i)
	}
	faults := m.Media.Check(ctx, p)
	for _, f := range m.against(p) {
		if !slices.ContainsFunc(faults, func(o *guard.Error) bool { return o.Item == f.Item }) {
			faults = append(faults, f)
		}
	}
	return faults
}

// against is what the simulated drives have against a plan.
func (m *Media) against(p procedure.Plan) []*guard.Error {
	m.w.mu.Lock()
	defer m.w.mu.Unlock()
	var out []*guard.Error
	for _, t := range p.Targets {
		d := m.w.driveAt(t.Path)
		switch {
		case d == nil || d.gone:
			out = append(out, &guard.Error{Op: "check", Item: t.Name, Kind: guard.KindGone, Err: errSimulated})
		case d.readOnly:
			out = append(out, &guard.Error{Op: "check", Item: t.Name, Kind: guard.KindReadOnly, Err: errSimulated})
		case d.Capacity-m.w.about(filepath.Join(drivesDir, d.Name)) > plenty*p.Listing.Bytes():
		default:
			free := d.Capacity - m.w.used(filepath.Join(drivesDir, d.Name))
			if need := p.Listing.Bytes() - free - m.w.used(filepath.Join(drivesDir, d.Name, filepath.FromSlash(t.Folder))); need > 0 {
				out = append(out, &guard.Error{Op: "check", Item: t.Name, Kind: guard.KindNoSpace, Need: need, Err: errSimulated})
			}
		}
	}
	return out
}

// plenty is how many times the bytes of a copy a drive has to have room for, so that its room need not be measured anew.
const plenty = 4

// driveAt is the drive that carries a path. The state is locked.
func (w *World) driveAt(p string) *drive {
	for name, d := range w.drives {
		if within(p, w.Drive(name)) {
			return d
		}
	}
	return nil
}

// Copy keeps the pace, runs the real offload on the drives that take it, and spoils what the plan wants spoilt.
func (m *Media) Copy(ctx context.Context, p procedure.Plan, progress func(func(time.Time) procedure.Progress)) (guard.Proof, []*guard.Error) {
	whole := m.w.takes(p)
	began := time.Now()
	shown := max(whole, likely(p))
	progress(func(now time.Time) procedure.Progress { return paced(p, now.Sub(began), shown) })
	stopped := []*guard.Error{{Op: "copy", Item: "card", Kind: guard.KindStopped, Err: context.Canceled}}
	if !sleep(ctx, whole/2) {
		return guard.Proof{}, stopped
	}
	if f := m.unreadable(ctx, p); f != nil {
		return guard.Proof{}, []*guard.Error{f}
	}
	if i, ok := m.due(p.Roll, drill.PowerCut); ok {
		m.start(ctx, i)
		<-ctx.Done()
		return guard.Proof{}, stopped
	}
	if i, ok := m.dueOn(p.Roll, drill.DriveGone); ok {
		m.start(ctx, i)
		if !sleep(ctx, time.Second) { // the runner stops the copy if too few drives are left
			return guard.Proof{}, stopped
		}
	}
	good, bad := p, m.against(p)
	good.Targets = slices.DeleteFunc(slices.Clone(p.Targets), func(t procedure.Target) bool {
		return slices.ContainsFunc(bad, func(f *guard.Error) bool { return f.Item == t.Name })
	})
	so := paced(p, time.Since(began), shown)
	proof, faults := m.Media.Copy(ctx, good, func(real func(time.Time) procedure.Progress) {
		if shown > whole { // a copy that takes longer than the drill's pace shows how far it really is
			progress(func(now time.Time) procedure.Progress { return further(real(now), so) })
		}
	})
	for _, f := range bad {
		for _, t := range p.Targets {
			if t.Name == f.Item {
				proof.Copies = append(proof.Copies, guard.Copy{Name: t.Name, Path: t.Path, Folder: t.Folder, Volume: t.Volume, Fault: f.Error()})
			}
		}
	}
	if i, ok := m.dueOn(p.Roll, drill.BadCopy); ok && ctx.Err() == nil {
		m.start(ctx, i)
		if f := m.spoil(p, &proof, i.Dest); f != nil {
			faults = append(faults, f)
		}
	}
	if !sleep(ctx, whole-time.Since(began)) {
		return guard.Proof{}, stopped
	}
	return proof, faults
}

// unreadable is the fault of a card that this reader cannot read; nil when another reader was taken since it
// showed.
func (m *Media) unreadable(ctx context.Context, p procedure.Plan) *guard.Error {
	i, due := m.due(p.Roll, drill.Unreadable)
	m.w.mu.Lock()
	k, planned := m.w.plan.Of(p.Roll, drill.Unreadable)
	swapped := !due && m.w.scene.swaps > m.w.scene.fresh[k.ID]
	m.w.mu.Unlock()
	if !planned || swapped || len(p.Listing.Files) == 0 {
		return nil
	}
	if due {
		m.start(ctx, i)
	}
	return &guard.Error{Op: "read", Item: "card", Path: p.Listing.Files[len(p.Listing.Files)/2].Path, Kind: guard.KindSourceRead, Err: errSimulated}
}

// spoil flips one bit of one file on a drive, as a bad cable does, and says what the read-back finds because of it.
func (m *Media) spoil(p procedure.Plan, proof *guard.Proof, dest string) *guard.Error {
	for c := range proof.Copies {
		k := &proof.Copies[c]
		if k.Name != dest || len(k.Back) == 0 {
			continue
		}
		n := len(proof.Files) / 2
		rel := filepath.Join(drivesDir, dest, filepath.FromSlash(k.Folder), filepath.FromSlash(proof.Files[n].Path))
		if err := m.w.flip(rel); err != nil {
			m.w.log.Warn("drill incident", "flip", rel, "err", err)
		}
		k.Back[n].Hash ^= 1
		f := &guard.Error{Op: "compare", Item: dest, Path: proof.Files[n].Path, Kind: guard.KindMismatch, Err: errSimulated}
		k.Fault = f.Error()
		return f
	}
	return nil
}

// flip changes the lowest bit of a file's first byte.
func (w *World) flip(rel string) (err error) {
	f, err := w.root.OpenFile(rel, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	var b [1]byte
	if _, err := f.ReadAt(b[:], 0); err != nil {
		return err
	}
	b[0] ^= 1
	_, err = f.WriteAt(b[:], 0)
	return err
}

// takes is how long a copy of a plan lasts: the pace, or longer on a slow drive.
func (w *World) takes(p procedure.Plan) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	d := w.pace.Copy
	for _, t := range p.Targets {
		if k := w.driveAt(t.Path); k != nil && k.Speed > 0 {
			d = max(d, time.Duration(float64(p.Listing.Bytes())/float64(k.Speed)*float64(time.Second)))
		}
	}
	return d
}

// paced is the progress of a copy that lasts whole: half of it copying, half of it reading back.
func paced(p procedure.Plan, gone, whole time.Duration) procedure.Progress {
	bytes := p.Listing.Bytes()
	share := 1.0
	if whole > 0 {
		share = min(1, max(0, gone.Seconds()/whole.Seconds()))
	}
	out := procedure.Progress{Phase: "copying", Done: int64(float64(bytes) * min(1, 2*share)), Left: max(0, whole-gone), LeftKnown: true}
	back := int64(float64(bytes) * max(0, 2*share-1))
	if share > 0.5 {
		out.Phase = "reading back"
	}
	out.FilesDone = int(float64(len(p.Listing.Files)) * min(1, 2*share))
	if gone >= time.Second {
		out.PerSecond = int64(float64(out.Done) / gone.Seconds())
	}
	for _, t := range p.Targets {
		out.Dests = append(out.Dests, procedure.DestView{Name: t.Name, Written: out.Done, Read: back})
	}
	return out
}

// ordinarySpeed is how fast a disk is taken to copy and read back, in bytes a second, until it shows. Own choice.
const ordinarySpeed = 200e6

// likely is how long a copy and its read-back will take on this computer's disk.
func likely(p procedure.Plan) time.Duration {
	const ways = 2
	return time.Duration(ways * float64(p.Listing.Bytes()) / ordinarySpeed * float64(time.Second))
}

// further is real progress, but nowhere behind what was shown before.
func further(real, before procedure.Progress) procedure.Progress {
	real.Done, real.FilesDone = max(real.Done, before.Done), max(real.FilesDone, before.FilesDone)
	for i := range real.Dests {
		for _, b := range before.Dests {
			if d := &real.Dests[i]; d.Name == b.Name {
				d.Written, d.Read = max(d.Written, b.Written), max(d.Read, b.Read)
			}
		}
	}
	return real
}

// sleep waits unless ctx ends first; it says whether the time is over.
func sleep(ctx context.Context, d time.Duration) bool {
	if d <= 0 {
		return ctx.Err() == nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// String names the media for a log.
func (m *Media) String() string { return fmt.Sprintf("drill media in %s", m.w.dir) }
