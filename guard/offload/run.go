package offload

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/hashes"
)

// cardFaults is how many unreadable files are named before the card as a whole is given up.
const cardFaults = 100

// Run copies and proves. The proof always has every destination; the errors say what keeps it, or the whole, from being
// proven: one for each condemned destination, and those of the card. KindStopped, when ctx ended, comes alone. Run waits
// for no drive longer than Job.Patience a call. prog may be nil.
func Run(ctx context.Context, job Job, prog *Progress) (guard.Proof, []*guard.Error) {
	if prog == nil {
		prog = new(Progress)
	}
	r := newRun(ctx, job, prog)
	defer r.close()
	if err := r.valid(); err != nil {
		r.fail(err)
		return r.result()
	}
	for _, step := range []func(){r.open, r.prepare, r.copy, r.lookAgain, r.prove} {
		step()
		if !r.goingOn() {
			break
		}
	}
	return r.result()
}

// run is the state of one Run.
type run struct {
	job     *Job
	ctx     context.Context
	outer   context.Context
	cancel  context.CancelFunc
	prog    *Progress
	ward    *ward
	pool    *pool
	source  *device.Root
	cardDir *folders
	targets []*target
	dirs    []string // all folders needed, parents first
	times   []int64  // their times on the card
	formats []string // beside XXH64: Extra and what Expect asks for
	proof   guard.Proof
	sentry  []*worker

	cardStuck atomic.Bool
	mu        sync.Mutex
	errs      []*guard.Error // of the card
}

// newRun builds the parts; nothing is touched yet.
func newRun(ctx context.Context, job Job, prog *Progress) *run {
	r := &run{job: &job, outer: ctx, prog: prog, ward: newWard(job.patience()), pool: newPool(max(ring, 2*len(job.Targets)))}
	r.ctx, r.cancel = context.WithCancel(ctx)
	if !slices.IsSortedFunc(job.Listing.Files, byPath) {
		r.job.Listing.Files = slices.SortedFunc(slices.Values(job.Listing.Files), byPath)
	}
	list := r.job.Listing
	r.proof = guard.Proof{
		Label: job.Label, Card: job.Source, Files: make([]guard.File, len(list.Files)), Dirs: list.Dirs,
		Copies: make([]guard.Copy, len(job.Targets)), Began: job.now(),
	}
	for i, e := range list.Files {
		r.proof.Files[i].Entry = e
	}
	shown := prog.begin(r.job, list.Bytes())
	for i, t := range job.Targets {
		r.proof.Copies[i] = guard.Copy{Name: t.Name, Path: t.Path, Folder: t.Folder, Volume: t.Volume}
		r.targets = append(r.targets, newTarget(r, i, t, shown[i]))
	}
	r.dirs = neededDirs(list)
	return r
}

func byPath(a, b guard.Entry) int { return strings.Compare(a.Path, b.Path) }

// valid refuses a job that makes no sense, and settles which hashes to compute.
func (r *run) valid() *guard.Error {
	want := map[string]bool{}
	for _, f := range r.job.Extra {
		want[f] = true
	}
	if r.job.Expect != nil {
		for _, e := range r.job.Listing.Files {
			if f, _ := r.job.Expect(e.Path); f != "" {
				want[f] = true
			}
		}
	}
	delete(want, hashes.XXH64)
	for f := range want {
		if !hashes.Known(f) {
			return &guard.Error{Op: "copy", Item: card, Kind: guard.KindRecord, Err: fmt.Errorf("hash format %q cannot be computed", f)}
		}
		r.formats = append(r.formats, f)
	}
	slices.Sort(r.formats)
	for _, f := range r.job.Extra {
		if r.proof.Hashes == nil {
			r.proof.Hashes = map[string][]string{}
		}
		if f != hashes.XXH64 {
			r.proof.Hashes[f] = make([]string, len(r.proof.Files))
		}
	}
	return refuse(r.job.Listing)
}

// refuse says which paths cannot be copied safely whatever the destination: those that climb, and those that look like
// the temporary names that this package removes.
func refuse(list guard.Listing) *guard.Error {
	check := func(path string) *guard.Error {
		for part := range strings.SplitSeq(path, "/") {
			if part == "" || part == "." || part == ".." || strings.ContainsRune(part, 0) {
				return &guard.Error{Op: "check", Item: card, Path: path, Kind: guard.KindSourceOdd, Err: errors.New("not a path below the card")}
			}
			if device.IsTemp(part) {
				return &guard.Error{Op: "check", Item: card, Path: path, Kind: guard.KindSourceOdd, Err: errors.New("a name reserved for half copies")}
			}
		}
		return nil
	}
	for _, e := range list.Files {
		if err := check(e.Path); err != nil {
			return err
		}
	}
	for _, d := range list.Dirs {
		if err := check(d); err != nil {
			return err
		}
	}
	return nil
}

// neededDirs has the listing's folders and all those above its files and folders, parents first.
func neededDirs(list guard.Listing) []string {
	seen := map[string]bool{"": true}
	var dirs []string
	var add func(dir string)
	add = func(dir string) {
		if !seen[dir] {
			seen[dir] = true
			parent, _ := split(dir)
			add(parent)
			dirs = append(dirs, dir)
		}
	}
	for _, d := range list.Dirs {
		add(d)
	}
	for _, e := range list.Files {
		dir, _ := split(e.Path)
		add(dir)
	}
	return dirs
}

// goingOn says whether the next step makes sense: not stopped, the card good so far, a destination left.
func (r *run) goingOn() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.ctx.Err() == nil && len(r.errs) == 0 && r.anyAlive()
}

// anyAlive says whether a destination is left.
func (r *run) anyAlive() bool {
	return slices.ContainsFunc(r.targets, func(t *target) bool { return t.ctx.Err() == nil })
}

// cardFault notes a fault of the card in one file; the rest is still read.
func (r *run) cardFault(err *guard.Error) {
	r.mu.Lock()
	r.errs = append(r.errs, err)
	many := len(r.errs) >= cardFaults
	r.mu.Unlock()
	r.job.log().Error("card fault", "label", r.job.Label, "err", err)
	if many {
		r.cancel()
	}
}

// fail ends the whole run.
func (r *run) fail(err *guard.Error) {
	if err.Kind != guard.KindStopped {
		r.cardFault(err)
	}
	r.cancel()
}

// each runs work for every destination that is left, all at once, and waits for all.
func (r *run) each(work func(*target, *pulse) *guard.Error) {
	var ks []*worker
	for _, t := range r.targets {
		if t.ctx.Err() == nil {
			ks = append(ks, t.spawn(func(p *pulse) {
				if err := work(t, p); err != nil {
					t.condemn(err)
				}
			}))
		}
	}
	for _, k := range ks {
		k.wait()
	}
}

// copy reads the card once and writes all destinations.
func (r *run) copy() {
	r.prog.began.Store(r.job.now().UnixNano())
	r.prog.phase.Store(int32(Copying))
	small, large := r.bySize()
	if len(small) > 0 {
		r.copySmall(small)
	}
	if len(large) > 0 && r.ctx.Err() == nil {
		r.copyLarge(large)
	}
	r.pool.close()
}

// bySize has the indices of the small and of the large files.
func (r *run) bySize() (small, large []int32) {
	for i := range r.proof.Files {
		if r.proof.Files[i].Size <= smallSize {
			small = append(small, int32(i))
		} else {
			large = append(large, int32(i))
		}
	}
	return small, large
}

// result gathers proof and errors.
func (r *run) result() (guard.Proof, []*guard.Error) {

	r.cancel()
	for _, k := range r.sentry {
		k.wait()
	}
	r.prog.phase.Store(int32(Done))
	r.prog.current.Store(nil)
	p := r.proof
	p.Ended = r.job.now()
	if r.cardStuck.Load() { // a stuck reader may still write into the old slices
		p.Files, p.Hashes = make([]guard.File, len(r.job.Listing.Files)), nil
		for i, e := range r.job.Listing.Files {
			p.Files[i].Entry = e
		}
	}
	r.mu.Lock()
	errs := slices.Clone(r.errs)
	r.mu.Unlock()
	for i, t := range r.targets {
		if err := t.condemned(); err != nil {
			errs = append(errs, err)
			p.Copies[i].Fault = err.Error()
			p.Copies[i].Back = nil
		}
	}
	if r.outer.Err() != nil {
		stopped := &guard.Error{Op: "copy", Kind: guard.KindStopped, Err: context.Cause(r.outer)}
		return p, []*guard.Error{stopped}
	}
	return p, errs
}

// close lets go of everything that is not stuck.
func (r *run) close() {
	r.cancel()
	for _, t := range r.targets {
		t.close()
	}
	if r.source != nil && !r.cardStuck.Load() {
		r.cardDir.close()
		_ = r.source.Close()
	}
	r.pool.close()
	r.ward.stop()
}
