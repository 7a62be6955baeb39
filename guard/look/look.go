// Package look gathers the fresh look that the lock asks for: what is seated now, what it holds, and what every proven
// copy holds now.
//
// It only gathers. Whether that is good enough is decided by [guard.Lock], which gets everything raw: identities,
// listing, counts, hashes, and how honest each reading was. A look that fails in some part is still a look; what could
// not be found out is missing in it, and missing closes the lock.
//
// Destinations are looked at in parallel: identity, then the chosen files hashed again from the device, then every file's
// size through folder handles. After the last of them the card is identified, listed and identified again, then every
// destination is identified once more, and only then is the look complete: [guard.Look.At] is that moment, so that the
// hours of a full recheck do not make it old, and identities are never older than it by more than a few calls.
//
// Nothing is written anywhere: part of invariants 2 and 3. A drive that does not answer is given up after
// [Request.Patience] and counts as not mounted; its goroutine ends when the drive lets it. [Take] may be called
// concurrently, with a source of randomness for each call.
package look

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"time"

	"twobin/guard"
)

// patience is how long a drive may be silent unless the request says otherwise: as for copying.
const patience = time.Minute

// Request is one look.
type Request struct {
	// Proof is what is looked for; its condemned copies are left out.
	Proof *guard.Proof
	// Card is the path of the seated card.
	Card string
	// Ident says which volume carries a path.
	Ident guard.Identifier
	// Policy says how much is hashed again.
	Policy guard.Policy
	// Rand chooses the sample. It has to be unpredictable: seed it from the system. Nil: every file is hashed.
	Rand *rand.Rand
	// Now is the clock that the lock will be asked with (wall and monotonic); nil is time.Now.
	Now func() time.Time
	// Scan lists the card: offload.Scan.
	Scan func(ctx context.Context, root string) (guard.Listing, error)
	// Progress, if not nil, is told of every block hashed: the copy's name and the bytes. It is called from several
	// goroutines and must not block.
	Progress func(name string, bytes int64)
	// Patience is how long a drive may be silent; 0 is a minute.
	Patience time.Duration

	open func(path string) (drive, error) // nil: openDrive
}

// Texts of what went wrong, for the record.
var (
	errSilent  = errors.New("the drive does not answer")
	errStopped = errors.New("the look was stopped")
	errChanged = errors.New("another volume came there during the look")
	errLacking = errors.New("the request lacks proof, identifier or scan")
)

// Take looks. It returns early when ctx ends; what was not found out by then is missing in the look.
func Take(ctx context.Context, req Request) guard.Look {
	if req.Proof == nil || req.Ident == nil || req.Scan == nil {
		return guard.Look{Err: errLacking.Error()}
	}
	if req.Now == nil {
		req.Now = time.Now
	}
	if req.Patience <= 0 {
		req.Patience = patience
	}
	if req.open == nil {
		req.open = openDrive
	}
	sum, err := req.Proof.Digest()
	if err != nil {
		return guard.Look{Err: err.Error()}
	}
	l := guard.Look{Proof: sum}
	copies := req.goodCopies()
	l.Copies = each(copies, func(i int) guard.CopyLook { return req.lookAt(ctx, copies[i]) })
	req.card(ctx, &l)
	again := each(copies, func(i int) error { return req.sameStill(ctx, copies[i].Path, l.Copies[i]) })
	for i, err := range again {
		if err != nil && l.Copies[i].Mounted {
			l.Copies[i].Mounted, l.Copies[i].Err = false, err.Error()
		}
	}
	l.At = req.Now()
	return l
}

// work is one copy and the files of it that are hashed again, in their order.
type work struct {
	*guard.Copy
	chosen []int
}

// goodCopies lists the proven copies, each with a sample of its own.
func (r *Request) goodCopies() []work {
	var all []work
	for i := range r.Proof.Copies {
		if c := &r.Proof.Copies[i]; r.Proof.Proven(c) {
			all = append(all, work{c, Choose(r.Proof, r.Policy, r.Rand)})
		}
	}
	return all
}

// Choose picks the files that are hashed again, in ascending order, as [guard.Policy.Enough] wants it: every file;
// or one file whatever its size, and then, in random order, all that fit. Rand nil chooses every file.
func Choose(p *guard.Proof, pol guard.Policy, r *rand.Rand) []int {
	pol = pol.Strict()
	n := len(p.Files)
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	if r == nil || pol.Recheck != guard.RecheckSample {
		return all
	}
	r.Shuffle(n, func(i, j int) { all[i], all[j] = all[j], all[i] })
	var chosen []int
	room := pol.SampleBytes
	for _, i := range all {
		if len(chosen) == pol.SampleFiles {
			break
		}
		if size := p.Files[i].Size; len(chosen) == 0 || size <= room {
			chosen = append(chosen, i)
			room -= size
		}
	}
	slices.Sort(chosen)
	return chosen
}

// each runs one goroutine an element and waits for all.
func each[T, R any](list []T, do func(i int) R) []R {
	results := make([]R, len(list))
	done := make(chan struct{})
	for i := range list {
		go func() {
			results[i] = do(i)
			done <- struct{}{}
		}()
	}
	for range list {
		<-done
	}
	return results
}

// card looks at what is seated.
func (r *Request) card(ctx context.Context, l *guard.Look) {
	before, err := r.identify(ctx, r.Card)
	if err == nil {
		l.Listing, err = patiently(ctx, 0, func(ctx context.Context, _ func()) (guard.Listing, error) {
			return r.Scan(ctx, r.Card) // has a limit of its own
		})
	}
	if err == nil {
		l.Card, err = r.identify(ctx, r.Card)
	}
	if err == nil && (l.Card.ID != before.ID || l.Card.Dev != before.Dev || l.Card.Mount != before.Mount) {
		err = errChanged
	}
	if err != nil {
		l.Err = err.Error()
	}
}

// identify asks for the volume at path, with a limit.
func (r *Request) identify(ctx context.Context, path string) (guard.Volume, error) {
	return patiently(ctx, r.Patience, func(context.Context, func()) (guard.Volume, error) { return r.carrier(path) })
}

// carrier asks for the volume at path, and says in one way that a drive is silent, whoever's limit was over.
func (r *Request) carrier(path string) (guard.Volume, error) {
	v, err := r.Ident.Identify(path)
	var known *guard.Error
	if errors.As(err, &known) && known.Kind == guard.KindStalled {
		err = errSilent
	}
	return v, err
}

// sameStill asks once more which volume is at a copy's path.
func (r *Request) sameStill(ctx context.Context, path string, found guard.CopyLook) error {
	if !found.Mounted {
		return nil
	}
	now, err := r.identify(ctx, path)
	if err != nil {
		return err
	}
	if now.ID != found.Volume.ID || now.Dev != found.Volume.Dev {
		return errChanged
	}
	return nil
}

// patiently runs work aside and waits as long as it calls tick at least once in every limit (0: for ever). Work that
// went silent, or that ctx ended, is left behind with its context ended, and its result goes nowhere.
func patiently[T any](ctx context.Context, limit time.Duration, work func(ctx context.Context, tick func()) (T, error)) (T, error) {
	type result struct {
		value T
		err   error
	}
	var none T
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	ticks, done := make(chan struct{}, 1), make(chan result, 1)
	go func() {
		v, err := work(inner, func() {
			select {
			case ticks <- struct{}{}:
			default:
			}
		})
		done <- result{v, err}
	}()
	var silent <-chan time.Time
	var timer *time.Timer
	if limit > 0 {
		timer = time.NewTimer(limit)
		defer timer.Stop()
		silent = timer.C
	}
	for {
		select {
		case r := <-done:
			return r.value, r.err
		case <-ticks:
			if timer != nil {
				timer.Reset(limit)
			}
		case <-silent:
			return none, errSilent
		case <-ctx.Done():
			return none, errStopped
		}
	}
}
