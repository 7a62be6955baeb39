package procedure

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"twobin/guard"
	"twobin/procedure/journal"
)

// Book is the journal as the runner uses it.
type Book interface {
	Append(ctx context.Context, lines ...journal.Line) ([]journal.Line, error)
	Code() string
	Check() (journal.Report, error)
	Close() error
}

// Given is what the command line answers of the set-up already; empty fields are asked.
type Given struct {
	Production string
	Day        int
	Operator   string
	Station    string
	To         []string
}

// Config is what a runner is built from. Everything that touches the world is passed in.
type Config struct {
	// Book and Lines are an open journal and what it held. Nil Book: OpenBook is called when the first four answers
	// of the set-up are known.
	Book     Book
	Lines    []journal.Line
	OpenBook func(ShiftOpened) (Book, []journal.Line, error)
	Volumes  Volumes
	Media    Media
	Policy   guard.Policy
	Given    Given
	// Reader is the fixed reader folder; empty: any newly mounted volume that is no destination is the card.
	Reader string
	Brief  bool
	// Drill is the drill's name, empty for a shift; Seed and Coach are noted in its journal.
	Drill string
	Seed  int64
	Coach string
	// Known lists labels used on earlier days of a production.
	Known func(production string) []Label
	// Elsewhere, if set, lists labels that other shifts of the production took in since this one was opened: another
	// station works beside it. It is asked at every roll that comes in.
	Elsewhere func(o ShiftOpened, since time.Time) []Label
	Tool      string
	// Questions, if set, looks at what a card holds for what the camera department should be asked. Never a block.
	Questions func(s *Shift, l Label, list guard.Listing) []string
	// Twins, if set, finds clips that an earlier roll of the production has too.
	Twins TwinFinder
	// Sheet, if set, writes the log sheet of a shift at its close, and names the files, also those that it wrote before it
	// failed. It is called apart from everything else, on a copy of the state.
	Sheet func(ctx context.Context, s *Shift) (files []string, err error)
	// Shelf, if set, has further copies that other processes made.
	Shelf Shelf
	// Now is the clock, with monotonic readings. Rand makes the sighted checks.
	Now  func() time.Time
	Rand *rand.Rand
	Log  *slog.Logger
	// Heard, if set, is told every entry right after it is journaled: a drill's world listens.
	Heard func(Entry)
	// World, if set, gives what the trainee sees and hears now; [Runner.Nudge] shows that it changed.
	World func() []string
}

// Runner drives lanes through the routine: it takes intents, asks the guard, appends events, and only then shows.
// Its methods may be called from any goroutine. One lane of one station is driven: lane 1.
type Runner struct {
	cfg  Config
	lane int

	mu          sync.Mutex
	shift       *Shift
	book        Book
	draft       draft
	notices     []Notice
	noticed     uint64 // how many there were
	prompt      *Prompt
	stamped     time.Time // when the last line was appended, with monotonic reading
	asked       time.Time // when the prompt could first be answered
	quiet       time.Duration
	shelved     time.Time // when the shelf of further copies was looked at
	seq         int
	away        time.Time
	bell        string
	bad         map[spoilt]bool // copies whose files differ and were left where they are
	bellSeq     int
	working     string
	job         *job // the copy, look or erase under way
	proofs      map[Label]*guard.Proof
	old         map[uint64]Label  // files of proven rolls
	twins       map[Label][]Label // other rolls that were asked about as having the same clips
	permit      *guard.Permit
	lookCard    guard.Volume // the card as the fresh look saw it
	broken      error        // the journal failed: nothing goes on
	ended       bool
	code        string            // closing code, from the close on
	codeWritten bool              // the operator says that it stands in the book
	overTold    map[string]Moment // clock -> place entered, when its limit was told
	renew       bool              // the prompt was answered: the next one is a new one
	cardRead    Label             // as read from the card in this pass
	serialTook  int64
	listing     guard.Listing // of the card in the reader, as scanned
	card        guard.Volume  // in the reader, as identified by its scan
	sha         string        // of the proof that was just saved

	shot    atomic.Pointer[snapshot]
	sample  atomic.Pointer[func(time.Time) Progress]
	version uint64
	changed chan struct{}

	wg   sync.WaitGroup
	ctx  context.Context
	stop context.CancelFunc
}

// job is one piece of machine work; its cancel stops it.
type job struct {
	name   string
	cancel context.CancelFunc
	// dropped: nobody waits for the result any more.
	dropped bool
}

// Start builds a runner and its background work; Close ends both. Lines of the journal are folded first; a line that
// does not fold is an error that names it.
func Start(ctx context.Context, cfg Config) (*Runner, error) {
	r := &Runner{cfg: cfg, lane: 1, shift: NewShift(), changed: make(chan struct{}), proofs: map[Label]*guard.Proof{},
		old: map[uint64]Label{}, twins: map[Label][]Label{}, overTold: map[string]Moment{}, bad: map[spoilt]bool{}}
	r.ctx, r.stop = context.WithCancel(ctx)
	if cfg.Book != nil {
		if err := r.take(cfg.Book, cfg.Lines); err != nil {
			r.stop()
			return nil, err
		}
	}
	r.mu.Lock()
	r.begin()
	r.refresh()
	r.mu.Unlock()
	r.wg.Add(2)
	go r.watch()
	go r.tick()
	return r, nil
}

// Fold reads a journal's lines into a shift.
func Fold(lines []journal.Line) (*Shift, []Entry, error) {
	s := NewShift()
	entries := make([]Entry, 0, len(lines))
	for _, l := range lines {
		e, err := EntryOf(l)
		if err != nil {
			return s, entries, err
		}
		if err := s.Apply(e); err != nil {
			return s, entries, fmt.Errorf("line %d: %w", l.Seq, err)
		}
		entries = append(entries, e)
	}
	return s, entries, nil
}

// EntryOf decodes one line.
func EntryOf(l journal.Line) (Entry, error) {
	ev, err := DecodeEvent(l.Event, l.Data)
	if err != nil {
		return Entry{}, fmt.Errorf("line %d: %w", l.Seq, err)
	}
	return Entry{
		At:      Moment{Wall: l.Time, Run: l.Run, Mono: l.Mono},
		Station: l.Station, Lane: l.Lane, Operator: l.Operator, Roll: Label(l.Roll), Event: ev,
	}, nil
}

func (r *Runner) take(b Book, lines []journal.Line) error {
	s, entries, err := Fold(lines)
	if err != nil {
		return err
	}
	r.book, r.shift, r.stamped = b, s, r.cfg.Now()
	for i, e := range entries {
		switch ev := e.Event.(type) {
		case CopyProven:
			r.remember(e.Roll, ev.Proof)
		case CopyAdded:
			r.remember(e.Roll, ev.Proof)
		case ShiftClosed:
			r.code = journal.CodeOf(lines[i])
		}
	}
	return nil
}

// Broken is why the journal could not be kept any more, nil while it can.
func (r *Runner) Broken() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.broken
}

// Close stops the background work, waits for it and closes the journal. The shift stays open on disk.
func (r *Runner) Close() error {
	r.stop()
	r.wg.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.book == nil {
		return nil
	}
	err := r.book.Close()
	r.book = nil
	return err
}

// Shift gives a copy of the state, for summaries.
func (r *Runner) Shift() *Shift {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.shift.Clone()
}

// errJournal: the record cannot be kept, so nothing may go on.
var errJournal = errors.New("the journal cannot be written")

// record appends one event and folds it, in this order: what is not on disk did not happen (invariant 7). A refusal of
// the fold is found on a copy first, journaled as such, and returned.
func (r *Runner) record(roll Label, ev Event) error {
	if r.broken != nil {
		return r.broken
	}
	if r.book == nil {
		return errors.New("the journal is not open yet")
	}
	name, data, err := EncodeEvent(ev)
	if err != nil {
		return err
	}
	if no := r.trial(roll, ev); no != nil {
		var ref *Refusal
		if errors.As(no, &ref) && name != (Refused{}).Name() {
			r.refused(roll, ref)
		}
		return no
	}
	lines, err := r.book.Append(context.WithoutCancel(r.ctx), journal.Line{
		Station: r.station(), Lane: r.lane, Operator: r.operator(), Event: name, Roll: string(roll), Data: data,
	})
	if err != nil {
		r.broken = fmt.Errorf("%w: %w", errJournal, err)
		r.cfg.Log.Error("journal", "event", name, "err", err)
		safe := "all that was shown as done is on disk; cards and copies are as they are."
		switch ev.(type) {
		case EraseDone, EraseStopped: // a card is not as it was
			safe = "all that was shown as done is on disk; the copies are as they are."
		}
		r.notify(Notice{
			Grade: "stop", What: "The journal cannot be written: nothing more can be recorded.",
			Safe: safe,
			Do:   "card back into its bin. See the cause, put it right, start again.", Cause: Plain(err.Error()),
		})
		return r.broken
	}
	r.stamped = r.cfg.Now()
	return r.fold(lines)
}

func (r *Runner) fold(lines []journal.Line) error {
	for _, l := range lines {
		e, err := EntryOf(l)
		if err == nil {
			err = r.shift.Apply(e)
		}
		if err != nil { // the trial accepted it: only our own bug can lead here
			return fmt.Errorf("fold line %d: %w", l.Seq, err)
		}
		if j, ok := e.Event.(ClockJumped); ok {
			r.notify(Notice{Grade: "look", What: "The computer's clock jumped by " + j.By.Round(time.Second).String() + ".",
				Safe: "durations are measured apart from it.", Do: "check date and time before you write times into the book."})
		}
		if r.cfg.Heard != nil {
			r.cfg.Heard(e)
		}
	}
	return nil
}

// trial asks the fold on a copy, with the time that the journal is going to stamp as near as can be known.
func (r *Runner) trial(roll Label, ev Event) error {
	now := r.cfg.Now()
	at := r.shift.Last
	at.Mono += max(0, now.Sub(r.stamped))
	at.Wall = now
	return r.shift.May(Entry{At: at, Station: r.station(), Lane: r.lane, Operator: r.operator(), Roll: roll, Event: ev})
}

func (r *Runner) refused(roll Label, ref *Refusal) {
	_ = r.record(roll, Refused{Asked: ref.Asked, Due: ref.Due.String(), Why: ref.Why}) // a broken journal is told by record itself
	r.cfg.Log.Info("refused", "roll", roll, "asked", ref.Asked, "due", ref.Due.String(), "why", ref.Why)
}

// refuse journals and tells a no that the runner itself gives (a wrong answer, a command out of place).
func (r *Runner) refuse(roll Label, asked, why, do string) error {
	ref := &Refusal{Asked: asked, Roll: roll, Due: r.shift.Due(r.lane), Why: why}
	if r.book != nil {
		r.refused(roll, ref)
	}
	r.notify(Notice{Grade: "look", What: why, Do: do})
	return ref
}

func (r *Runner) station() string {
	if r.shift.Opened != nil {
		return r.shift.Opened.Station
	}
	return r.draft.station
}

func (r *Runner) operator() string {
	if r.shift.Opened != nil {
		return r.shift.Operator
	}
	return r.draft.operator
}

// notify shows a notice. The last few are kept.
func (r *Runner) notify(n Notice) {
	const keep = 4
	r.noticed++
	n.nr = r.noticed
	r.notices = append(r.notices, n)
	if len(r.notices) > keep {
		r.notices = r.notices[len(r.notices)-keep:]
	}
}

func (r *Runner) ring(bell string) {
	r.bell = bell
	r.bellSeq++
}

// answered is the operator's part of an event: the prompt and the time since it could be answered.
func (r *Runner) answered() Answered {
	if r.prompt == nil {
		return Answered{}
	}
	return Answered{Prompt: r.prompt.ID, TookMS: max(1, (r.cfg.Now().Sub(r.asked) - r.quiet).Milliseconds())}
}
