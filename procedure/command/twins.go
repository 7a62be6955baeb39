package command

import (
	"context"
	"log/slog"
	"path/filepath"
	"sync"

	"twobin/guard"
	"twobin/guard/proofstore"
	"twobin/procedure"
	"twobin/procedure/archive"
	"twobin/procedure/clips"
)

// twins finds clips of a card on earlier rolls of its production. The rolls are read when they are first asked for, one
// proof after the other, beside everything else. What cannot be read is left out and noted in the program's log.
type twins struct {
	home string
	log  *slog.Logger

	mu   sync.Mutex
	of   string // the production that is learned
	past clips.Past
	seen map[string]bool // proofs that were read, or could not be
}

// find is a [procedure.TwinFinder].
func (t *twins) find(ctx context.Context, s *procedure.Shift, l procedure.Label, list guard.Listing, p *guard.Proof) []procedure.Twin {
	t.mu.Lock()
	defer t.mu.Unlock()
	if s.Opened == nil || s.Opened.Drill != "" {
		return nil
	}
	if t.of != s.Opened.Production {
		if !t.begin(ctx, s.Opened.Production) {
			return nil
		}
	}
	t.learn(ctx, s)
	switch {
	case ctx.Err() != nil:
		return nil
	case p != nil:
		return t.past.Equal(l, s.Opened.Day, p)
	}
	return t.past.Alike(l, s.Opened.Day, list)
}

// begin learns all shifts of a production. False: ctx ended, and the next call begins anew.
func (t *twins) begin(ctx context.Context, production string) bool {
	t.of, t.past, t.seen = "", clips.Past{}, map[string]bool{}
	a, err := archive.Open(t.home)
	if err != nil {
		t.log.Warn("earlier rolls", "err", err)
		return false
	}
	for i := range a.Journals {
		if j := &a.Journals[i]; j.Opened() && j.Shift.Opened.Drill == "" && j.Shift.Opened.Production == production {
			t.learn(ctx, j.Shift)
		}
	}
	if ctx.Err() != nil {
		return false
	}
	t.of = production
	return true
}

// learn takes in the proven rolls of a shift that are not known yet.
func (t *twins) learn(ctx context.Context, s *procedure.Shift) {
	for _, l := range s.Order {
		sha := s.Rolls[l].Proof
		if sha == "" || t.seen[sha] {
			continue
		}
		if ctx.Err() != nil {
			return
		}
		t.seen[sha] = true
		p, err := proofstore.Load(filepath.Join(t.home, "proofs"), sha)
		if err != nil {
			t.log.Warn("earlier roll", "roll", l, "err", err)
			continue
		}
		t.past.Add(l, s.Opened.Day, p)
	}
}
