package practice

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/training/drill"
	"twobin/training/world"
)

// Coach is how much the program says beside what it asks.
type Coach string

// The grades of coaching.
const (
	// Full: hands, order and the reason for every step.
	Full Coach = "full"
	// Brief: one line a step.
	Brief Coach = "brief"
	// Silent: the question alone.
	Silent Coach = "none"
	// Shown: the program plays, the trainee watches.
	Shown Coach = "show"
)

// Options are what a session is built from.
type Options struct {
	Drill   drill.Drill
	Seed    int64
	Trainee string
	Coach   Coach
	// Home is the data folder; all of a drill lies in its folder "drills".
	Home string
	// Media builds the real media on simulated volumes; proofs is the folder for proofs.
	Media  func(id guard.Identifier, proofs string) procedure.Media
	Policy guard.Policy
	Pace   world.Pace
	// Size is bytes of the fullest card; 0 for small ones. A drill that is gone on with keeps the size that it has.
	Size int64
	// Below is the folder for the sandbox; empty is the system's for temporary files.
	Below string
	// Card is where a real practice card is mounted that plays the drill's cards; empty: they are simulated. Ident says
	// which volume is there.
	Card  string
	Ident guard.Identifier
	// Again goes on with a drill that was cut off; nil for a new one.
	Again *Run
	Tool  string
	Now   func() time.Time
	Log   *slog.Logger
}

// Session is one drill under way. It is the desk that a screen talks to.
type Session struct {
	*procedure.Runner
	o     Options
	plan  *drill.Plan
	world *world.World
	path  string
	stop  context.CancelFunc

	mu      sync.Mutex
	entries []procedure.Entry
}

var _ procedure.Desk = (*Session)(nil)

// Start begins a drill, or goes on with one. The session has to be ended with End or Leave.
func Start(ctx context.Context, o Options) (_ *Session, err error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Again != nil {
		if o.Size, err = world.SizeOf(o.Again.Sandbox); err != nil {
			return nil, fmt.Errorf("begin drill: %w", err)
		}
	}
	s := &Session{o: o, plan: o.NewPlan()}
	drills := filepath.Join(o.Home, "drills")
	proofs := filepath.Join(drills, "proofs")
	if err := errors.Join(os.MkdirAll(proofs, 0o755), os.MkdirAll(s.folder(), 0o755)); err != nil {
		return nil, fmt.Errorf("begin drill: %w", err)
	}
	wo := world.Options{Plan: s.plan, Pace: o.Pace, Below: o.Below, Size: o.Size, Shot: shot(s.plan), Card: o.Card, Ident: o.Ident, Log: o.Log}
	if o.Again != nil {
		wo.Dir, s.path = o.Again.Sandbox, o.Again.Path
	}
	if s.world, err = world.Open(ctx, wo); err != nil {
		return nil, fmt.Errorf("begin drill: %w", err)
	}
	ctx, s.stop = context.WithCancel(ctx)
	cfg := s.config(proofs)
	if o.Again != nil {
		cfg.Book, cfg.Lines, err = s.open(s.path)
	}
	if err == nil {
		s.Runner, err = procedure.Start(ctx, cfg)
	}
	if err != nil {
		s.stop()
		if o.Again == nil {
			err = errors.Join(err, s.world.Remove())
		} else {
			err = errors.Join(err, s.world.Close())
		}
		return nil, fmt.Errorf("begin drill: %w", err)
	}
	s.world.Begin(ctx, s.Runner)
	return s, nil
}

// NewPlan is the plan of the drill that these options ask for.
func (o Options) NewPlan() *drill.Plan {
	p := drill.NewPlan(o.Drill, o.Seed)
	p.Fit(o.Size, o.Policy.Destinations)
	return p
}

// shot is when the cards of a plan were shot: the same for equal plans, so that their bytes and times are equal too.
func shot(p *drill.Plan) time.Time {
	return time.Date(2024, 5, 6, 18, 0, 0, 0, time.UTC).AddDate(0, 0, p.Day)
}

func (s *Session) config(proofs string) procedure.Config {
	o := s.o
	return procedure.Config{
		OpenBook: func(procedure.ShiftOpened) (procedure.Book, []journal.Line, error) { return s.open(s.newPath()) },
		Volumes:  s.world, Media: s.world.Media(o.Media(s.world, proofs)), Policy: o.Policy, Reader: s.world.Reader(),
		Given: procedure.Given{Production: s.plan.Production, Day: s.plan.Day, Operator: o.Trainee, Station: "practice", To: s.world.Destinations()},
		Brief: o.Coach != Full && o.Coach != Shown, Drill: o.Drill.Name, Seed: o.Seed, Coach: string(o.Coach), Tool: o.Tool, Now: o.Now,
		Rand: rand.New(rand.NewPCG(uint64(o.Seed), 3)), //nolint:gosec // questions, not secrets
		Log:  o.Log, Heard: s.heard, World: s.lines,
	}
}

// folder is where the trainee's journals lie.
func (s *Session) folder() string { return Folder(s.o.Home, s.o.Trainee) }

func (s *Session) newPath() string {
	if s.path != "" {
		return s.path
	}
	base := fmt.Sprintf("%s_%s_%d", s.o.Now().Format("20060102-150405"), s.o.Drill.Name, s.o.Seed)
	for n := 1; ; n++ {
		s.path = filepath.Join(s.folder(), base+".jsonl")
		if n > 1 {
			s.path = filepath.Join(s.folder(), fmt.Sprintf("%s_%d.jsonl", base, n))
		}
		if _, err := os.Lstat(s.path); errors.Is(err, os.ErrNotExist) {
			return s.path
		}
	}
}

// open opens the journal and plays what is in it to the world.
func (s *Session) open(path string) (procedure.Book, []journal.Line, error) {
	b, lines, err := journal.Open(path, journal.Options{Now: s.o.Now, Station: "practice", Program: s.o.Tool, Log: s.o.Log})
	if err != nil {
		return nil, nil, err
	}
	for _, l := range lines {
		e, err := procedure.EntryOf(l)
		if err != nil {
			return nil, nil, errors.Join(err, b.Close())
		}
		s.mu.Lock()
		s.entries = append(s.entries, e)
		s.mu.Unlock()
		s.world.Replay([]procedure.Entry{e})
	}
	return b, lines, nil
}

func (s *Session) heard(e procedure.Entry) {
	s.mu.Lock()
	s.entries = append(s.entries, e)
	s.mu.Unlock()
	s.world.Heard(e)
}

// Cut is closed when the drill cuts the power: the program has to end.
func (s *Session) Cut() <-chan struct{} { return s.world.Cut() }

// Path is the drill's journal, empty before it was opened. Dir is the sandbox.
func (s *Session) Path() string { return s.path }

// CardInReader says whether the card belongs in the reader now: for hands in software that seat a real one.
func (s *Session) CardInReader() bool { return s.world.InReader() }

// Dir is the sandbox's folder.
func (s *Session) Dir() string { return s.world.Dir() }

// Plan is the drill's plan.
func (s *Session) Plan() *drill.Plan { return s.plan }

// Entries is what the journal holds so far.
func (s *Session) Entries() []procedure.Entry {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]procedure.Entry(nil), s.entries...)
}

// lines is what the trainee sees and hears.
func (s *Session) lines() []string { return s.world.Lines() }

// View is the runner's view with as much coaching as asked for. See [procedure.Desk].
func (s *Session) View() procedure.View { return coached(s.Runner.View(), s.o.Coach) }

// coached adds or takes away what is not asked. Order, questions and refusals stay as they are.
func coached(v procedure.View, c Coach) procedure.View {
	switch c {
	case Full, Shown:
		if v.Step.Why != "" && !v.Step.Critical {
			v.Reason = v.Step.Why
		}
	case Silent:
		v.Step.Hands, v.Step.Brief = nil, v.Step.Title
	case Brief:
	}
	return v
}

// actWord begins an act in the world: "do answer".
const actWord = "do "

// Do takes acts in the world, and hands everything else to the runner. See [procedure.Desk].
func (s *Session) Do(ctx context.Context, i procedure.Intent) error {
	if text, ok := actIn(i); ok {
		if err := s.world.Act(text); err != nil {
			return &procedure.Refusal{Asked: "do", Why: err.Error()}
		}
		return nil
	}
	if d, ok := i.(procedure.DoDestination); ok {
		i = s.named(d)
	}
	if a, ok := i.(procedure.Answer); ok && (a.ID == "pull.desk" || a.ID == "return.to") {
		s.pulled(ctx)
	}
	return s.Runner.Do(ctx, i)
}

// named lets a drive of the drill be taken into use by its name.
func (s *Session) named(d procedure.DoDestination) procedure.DoDestination {
	for _, k := range s.plan.Drives {
		if strings.EqualFold(k.Name, strings.TrimSpace(d.Path)) {
			d.Path = s.world.Drive(k.Name)
		}
	}
	return d
}

// pulled waits for the simulated hands to have the card out of the reader: whoever says that it lies on the desk has
// pulled it. It gives up after a while; the runner then says what it sees. With a real reader only until it was looked at.
func (s *Session) pulled(ctx context.Context) {
	patience := 5*time.Second + s.o.Pace.Pull
	if s.o.Card != "" {
		patience = time.Second
	}
	ctx, stop := context.WithTimeout(ctx, patience)
	defer stop()
	for seen := uint64(0); ; {
		r := s.Shift().InLane(1)
		if r == nil || r.Seated == nil {
			return
		}
		var err error
		if seen, err = s.Wait(ctx, seen); err != nil {
			return
		}
	}
}

// actIn finds an act in an intent: an act, a note that begins with the word do, for screens without a key for acts, or
// the words of an act where a question at the drives is answered: that is no look, but no wrong one either.
func actIn(i procedure.Intent) (string, bool) {
	switch v := i.(type) {
	case procedure.DoAct:
		return v.Text, true
	case procedure.Answer:
		text := strings.TrimSpace(v.Text)
		if len(text) > len(actWord) && strings.EqualFold(text[:len(actWord)], actWord) {
			text = text[len(actWord):]
		}
		if _, _, ok := world.ActWord(text); ok && strings.HasPrefix(v.ID, "look.") {
			return text, true
		}
	case procedure.DoNote:
		if t := strings.TrimSpace(v.Text); len(t) > len(actWord) && strings.EqualFold(t[:len(actWord)], actWord) {
			return t[len(actWord):], true
		}
	}
	return "", false
}

// Result scores what the journal holds now.
func (s *Session) Result() drill.Result { return drill.Score(s.o.Drill, s.plan, s.Entries()) }

// End scores the drill, journals the result, ends everything and takes the sandbox away. A drill whose shift is not
// closed is recorded as quit.
func (s *Session) End() (drill.Result, error) {
	r := s.Result()
	if !s.Shift().Closed {
		r.Outcome = drill.Quit
	}
	var errs []error
	if s.path != "" {
		for _, sc := range r.Scored() {
			if s.o.Coach == Shown && sc.Kind == drill.DrillKind && r.Outcome != drill.Quit {
				sc.Result = string(Shown)
			}
			errs = append(errs, s.Record("", sc))
		}
	}
	s.stop()
	errs = append(errs, s.Close())
	s.world.Wait()
	errs = append(errs, s.world.Remove())
	return r, errors.Join(errs...)
}

// Leave ends everything without a score and leaves the sandbox: the power is gone, and the drill goes on later.
func (s *Session) Leave() error {
	s.stop()
	err := s.Close()
	s.world.Wait()
	return errors.Join(err, s.world.Close())
}
