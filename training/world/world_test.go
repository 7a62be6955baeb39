package world

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/dummy"
)

func open(t *testing.T, o Options) *World {
	t.Helper()
	if o.Plan == nil {
		d, _ := drill.Find(drill.FirstRoll)
		o.Plan = drill.NewPlan(d, 1)
	}
	w, err := Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// Every volume of a world is marked simulated, drives are separate devices, and everything else is unknown: a real
// path, the sandbox itself, an empty reader, a way out of the sandbox.
func TestIdentify(t *testing.T) {
	t.Parallel()
	w := open(t, Options{Below: t.TempDir(), Shot: time.Now()})
	disks := map[string]bool{}
	for _, p := range w.Destinations() {
		v, err := w.Identify(filepath.Join(p, "some", "folder"))
		if err != nil || !v.Simulated || v.Mount != p || v.Disk == "" || v.ID == "" || disks[v.Disk] {
			t.Errorf("Identify(%s) = %+v, %v", p, v, err)
		}
		disks[v.Disk] = true
	}
	for _, p := range []string{"/", w.Dir(), w.Reader(), filepath.Join(w.Reader(), cardName), w.Drive("SHUTTLE") + "/../../..", w.Drive("NONE"), t.TempDir()} {
		if v, err := w.Identify(p); err == nil {
			t.Errorf("Identify(%s) = %+v, want an error", p, v)
		}
	}
	if err := w.Remove(); err != nil {
		t.Error(err)
	}
}

// After a power cut the card that sat in the reader lies where it belongs again, also in a plan in which a roll came on an
// earlier roll's card, so that one number has no card.
func TestResumeTakesTheCardOut(t *testing.T) {
	t.Parallel()
	p := &drill.Plan{Cards: 3, Rolls: []drill.Roll{
		{Label: "A001", Card: 0, Size: 1000, Shape: dummy.Clips}, {Label: "A002", Card: 0, Over: true, Size: 1000, Shape: dummy.Clips}, {Label: "A003", Card: 2, Size: 1000, Shape: dummy.Clips},
	}, Stranger: 1000, Take: 100}
	for _, card := range []int{0, 2, 3} {
		o := Options{Plan: p, Below: t.TempDir(), Shot: time.Now()}
		w := open(t, o)
		if err := os.Rename(filepath.Join(w.Dir(), cardPath(card)), filepath.Join(w.Dir(), readerDir, cardName)); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		o.Dir = w.Dir()
		w = open(t, o)
		if _, err := os.Stat(filepath.Join(w.Dir(), cardPath(card))); err != nil {
			t.Errorf("card %d is not back: %v", card, err)
		}
		if err := w.Remove(); err != nil {
			t.Error(err)
		}
	}
}

// A folder without the marker is neither taken up nor removed.
func TestOnlyMarkedSandboxes(t *testing.T) {
	t.Parallel()
	foreign := t.TempDir()
	keep := filepath.Join(foreign, "keep.mov")
	if err := os.WriteFile(keep, []byte("footage"), 0o644); err != nil {
		t.Fatal(err)
	}
	d, _ := drill.Find(drill.FirstRoll)
	if _, err := Open(t.Context(), Options{Plan: drill.NewPlan(d, 1), Dir: foreign}); err == nil || !strings.Contains(err.Error(), "no sandbox") {
		t.Errorf("a foreign folder was taken up: %v", err)
	}
	w := open(t, Options{Below: t.TempDir()})
	if err := os.Remove(filepath.Join(w.Dir(), SandboxName)); err != nil {
		t.Fatal(err)
	}
	if err := w.Remove(); err == nil {
		t.Error("a folder without marker was removed")
	}
	for _, p := range []string{keep, w.Dir()} {
		if _, err := os.Stat(p); err != nil {
			t.Error(err)
		}
	}
}

// Acts are the same words in every drill; anything else names them, on the screen too, and nothing is journaled.
func TestActWords(t *testing.T) {
	t.Parallel()
	w := open(t, Options{Below: t.TempDir()})
	desk := &fakeDesk{}
	w.Begin(t.Context(), desk)
	for _, a := range []string{"answer", "ASK", " give ", "swap", "open shuttle"} {
		if err := w.Act(a); err != nil {
			t.Errorf("Act(%q) = %v", a, err)
		}
	}
	if err := w.Act("juggle"); err == nil || !strings.Contains(err.Error(), "answer, ask, give, swap, free, open") {
		t.Errorf("Act(juggle) = %v", err)
	}
	if len(desk.acts) != 5 || desk.acts[4].Text != "SHUTTLE" {
		t.Errorf("journaled: %+v", desk.acts)
	}
	if said := strings.Join(w.Lines(), " "); !strings.Contains(said, "nothing to be done here: juggle") {
		t.Errorf("it is not said: %s", said)
	}
	for other, want := range map[string]string{"tell camera department": drill.ActAsk, "cable": drill.ActSwap, "free raid": drill.ActFree} {
		if name, _, ok := ActWord(other); !ok || name != want {
			t.Errorf("%q is %q, %v; want %q", other, name, ok, want)
		}
	}
	if _, arg, _ := ActWord("open RAID sound"); arg != "RAID SOUND" {
		t.Errorf("opened is %q", arg)
	}
}

// Of a drive's folders the one that the question is about comes first, or the one that is named.
func TestOpenShowsTheAskedFolderFirst(t *testing.T) {
	t.Parallel()
	w := open(t, Options{Below: t.TempDir()})
	roll := procedure.Label("A001")
	w.scene.Hear(procedure.Entry{At: procedure.Moment{Run: 1, Mono: 1}, Lane: 1, Event: procedure.ShiftOpened{Production: "x", Drill: "x", Operator: "Kim", Policy: procedure.PolicyNote{Destinations: 2}}})
	at := filepath.Join(w.Drive("RAID"), filepath.FromSlash(w.scene.shift.Folder(roll)))
	for _, f := range []string{"FRAMES/0001.dpx", "SOUND/take1.wav"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(at, f)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(at, f), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	question := procedure.View{Prompt: &procedure.Prompt{Question: "On RAID: Open A001/SOUND. How many files are in it?"}}
	for _, c := range []struct{ first, want string }{
		{"", "FRAMES"}, {asked(question, ""), "SOUND"}, {asked(question, "FRAMES"), "FRAMES"}, {asked(procedure.View{}, ""), "FRAMES"}, {"sound", "SOUND"},
	} {
		if got := w.listing("RAID", roll, c.first); len(got) != 2 || !strings.Contains(got[0], c.want) {
			t.Errorf("asked for %q: %q, want %s first", c.first, got, c.want)
		}
	}
	if got := w.listing("RAID", "", ""); len(got) != 1 || !strings.Contains(got[0], "no roll") {
		t.Errorf("with no roll: %q", got)
	}
}

// Put back, then answer: who calls goes on calling until the next roll is taken up.
func TestCallGoesOnAfterPutBack(t *testing.T) {
	t.Parallel()
	s := NewScene(&drill.Plan{Rolls: []drill.Roll{{Label: "A001"}}, Incidents: []drill.Planned{{ID: "i1", Kind: drill.CallStart, Roll: "A001", Reply: "How many?"}}}, Pace{})
	s.happened(procedure.Incident{Kind: string(drill.CallStart), ID: "i1"})
	s.settle(procedure.Entry{Roll: "A001", Event: procedure.PutBack{}})
	if len(s.ringing) != 1 {
		t.Fatal("after put back nobody calls any more")
	}
	if s.act(drill.ActAnswer, ""); len(s.ringing) != 0 || !slices.Equal(s.said, []string{"How many?"}) {
		t.Errorf("answered: %v, %v", s.ringing, s.said)
	}
	s.happened(procedure.Incident{Kind: string(drill.CallStart), ID: "i1"})
	if s.settle(procedure.Entry{Roll: "A001", Event: procedure.RollPicked{}}); len(s.ringing) != 0 {
		t.Error("with the next roll in the hand the old call still rings")
	}
}

type fakeDesk struct{ acts []procedure.Incident }

func (d *fakeDesk) View() procedure.View { return procedure.View{} }

func (d *fakeDesk) Record(_ procedure.Label, ev procedure.Event) error {
	d.acts = append(d.acts, ev.(procedure.Incident))
	return nil
}

func (d *fakeDesk) Nudge() {}

// The reader holds what the routine's state says: nothing before the tape is moved, then the card, then nothing again.
func TestSceneReader(t *testing.T) {
	t.Parallel()
	d, _ := drill.Find(drill.FirstRoll)
	p := drill.NewPlan(d, 1)
	s := NewScene(p, Pace{})
	l := p.Rolls[0].Label
	now := time.Duration(0)
	hear := func(l procedure.Label, ev procedure.Event) {
		now += time.Second
		s.Hear(procedure.Entry{At: procedure.Moment{Run: 1, Mono: now}, Lane: 1, Operator: "Kim", Roll: l, Event: ev})
	}
	hear("", procedure.ShiftOpened{Production: "x", Drill: "x", Operator: "Kim", Policy: procedure.PolicyNote{Destinations: 2}})
	hear("", procedure.CameraSet{Camera: l.Camera(), Colour: "blue"})
	hear("", procedure.MarkingAgreed{Text: "x"})
	hear("", procedure.KitChecked{})
	hear("", procedure.BinsPlaced{})
	for _, n := range []string{"RAID", "SHUTTLE"} {
		hear("", procedure.DestinationSet{Destination: procedure.Destination{Name: n}})
	}
	if len(s.Waiting()) != 0 {
		t.Error("a card comes before the set-up is done")
	}
	hear("", procedure.SetUpDone{})
	if len(s.Waiting()) != 1 {
		t.Fatal("no card comes")
	}
	for _, step := range []struct {
		ev   procedure.Event
		want int
	}{
		{procedure.RollReceived{From: "Robin"}, none},
		{procedure.RollPicked{Pass: 1}, none},
		{procedure.LabelRead{Where: "card", Read: string(l), Right: true}, none},
		{procedure.LabelRead{Where: "tape", Read: string(l), Right: true}, none},
		{procedure.TapeMoved{}, 0},
		{procedure.PutBack{Step: "seat"}, none},
	} {
		hear(l, step.ev)
		if got := s.Reader(); got != step.want {
			t.Errorf("after %s the reader holds %d, want %d", step.ev.Name(), got, step.want)
		}
	}
}

// Who asks is told of one thing, and the journal says of which; a world that reads the journal anew comes to the same.
func TestAskSaysWhich(t *testing.T) {
	t.Parallel()
	p := &drill.Plan{
		Rolls: []drill.Roll{{Label: "A001", OnTape: "A001", OnCard: "A011", Cue: drill.CueStart}, {Label: "B001", OnCard: "B001", Cue: drill.CueStart}},
		Incidents: []drill.Planned{
			{ID: "i1", Kind: drill.LabelDiffers, Roll: "A001", Reply: "It is A001."},
			{ID: "i2", Kind: drill.Lacks, Roll: "B001", Reply: "Here is its tape."},
		},
	}
	s := NewScene(p, Pace{})
	s.happened(procedure.Incident{Kind: string(drill.LabelDiffers), ID: "i1"})
	s.happened(procedure.Incident{Kind: string(drill.Lacks), ID: "i2"})
	s.shift.Rolls["A001"] = &procedure.Roll{Label: "A001", Held: &procedure.Hold{Reason: "they differ"}}
	for _, want := range []struct{ id, card, tape string }{{"i2", "A011", "B001"}, {"i1", "A001", "B001"}, {drill.AskedNone, "A001", "B001"}} {
		if got := s.open(""); got != want.id {
			t.Errorf("asked now, it is about %q, want %q", got, want.id)
		}
		s.act(drill.ActAsk, s.open(""))
		if a, b := s.fact("A001").OnCard, s.fact("B001").OnTape; a != want.card || b != want.tape {
			t.Errorf("after %s the card reads %q, the tape %q", want.id, a, b)
		}
	}
	for _, old := range []string{"", "ABOUT B001"} { // as journaled by an older version
		s = NewScene(p, Pace{})
		s.happened(procedure.Incident{Kind: string(drill.Lacks), ID: "i2"})
		if s.act(drill.ActAsk, old); s.fact("B001").OnTape != "B001" {
			t.Errorf("an older journal's %q is not heard", old)
		}
	}

	desk := &fakeDesk{}
	w := open(t, Options{Below: t.TempDir()})
	w.Begin(t.Context(), desk)
	if err := w.Act("ask about it"); err != nil || len(desk.acts) != 1 || desk.acts[0].Text != drill.AskedNone {
		t.Errorf("journaled: %+v, %v", desk.acts, err)
	}
}

// Who asks is told of what is before them, not of the newest thing: the missing number, the card that is held out, the roll
// in the hand.
func TestAskIsAboutWhatIsAtHand(t *testing.T) {
	t.Parallel()
	s := NewScene(&drill.Plan{
		Rolls: []drill.Roll{{Label: "A001"}, {Label: "A003"}, {Label: "B001"}, {Label: "C001"}},
		Incidents: []drill.Planned{
			{ID: "i1", Kind: drill.LabelDiffers, Roll: "A001", Reply: "It is A001."}, {ID: "i2", Kind: drill.Skip, Roll: "A003", Other: "A002", Reply: "In the car."},
			{ID: "i3", Kind: drill.Lacks, Roll: "B001", Reply: "Here."}, {ID: "i4", Kind: drill.Unformatted, Roll: "C001", Reply: "Thank you."},
		},
	}, Pace{})
	for _, i := range s.plan.Incidents {
		s.begun[i.ID] = true
	}
	check := func(when, prompt, want string) {
		t.Helper()
		if got := s.open(prompt); got != want {
			t.Errorf("%s it is about %s, want %s", when, got, want)
		}
	}
	check("at rest", "next", "i4")
	s.asked["i4"], s.asked["i3"], s.asked["i2"] = true, true, true
	check("with A001 in the bin, not looked at", "next", drill.AskedNone)
	s.shift.Rolls["A001"] = &procedure.Roll{Label: "A001", Held: &procedure.Hold{Reason: "x"}}
	check("with A001 on hold", "next", "i1")
	s.asked = map[string]bool{}
	check("at the gap", "receive.gap", "i2")
	s.facts[2].Here = true
	check("with B001 held out", "receive.bin", "i3")
	check("at the gap, with B001 held out", "receive.gap", "i2")
	s.shift.Rolls["A001"], s.shift.Lanes = &procedure.Roll{Label: "A001"}, map[int]*procedure.Lane{lane: {Roll: "A001"}}
	check("with A001 in the hand", "pick.card", "i1")
	s.asked["i1"] = true
	check("with A001 in the hand, asked", "pick.card", "i4")
}

// A call that comes when its step is over is dropped: nothing is journaled of it.
func TestLateCallIsDropped(t *testing.T) {
	t.Parallel()
	w := open(t, Options{Below: t.TempDir()})
	for _, c := range []struct {
		kind drill.Kind
		on   []procedure.Step
	}{
		{drill.CallStart, []procedure.Step{procedure.StepSeat, procedure.StepStart}},
		{drill.CallDesk, []procedure.Step{procedure.StepLook, procedure.StepMark, procedure.StepBin}},
		{drill.Wanted, []procedure.Step{procedure.StepLog, procedure.StepCount, procedure.StepPull, procedure.StepLook, procedure.StepMark, procedure.StepBin}},
		{drill.CallErase, []procedure.Step{procedure.StepErase}},
	} {
		for _, spec := range procedure.Routine() {
			desk := &fakeDesk{}
			w.desk, w.scene = desk, NewScene(w.plan, Pace{})
			w.scene.shift.Rolls["A001"] = &procedure.Roll{Label: "A001", Step: spec.Step}
			w.scene.shift.Lanes = map[int]*procedure.Lane{lane: {Roll: "A001"}}
			if err := w.begin(t.Context(), drill.Planned{ID: "i1", Kind: c.kind, Roll: "A001"}); err != nil {
				t.Fatal(err)
			}
			if got, want := len(desk.acts) == 1, slices.Contains(c.on, spec.Step); got != want {
				t.Errorf("%s at %s begins: %v, want %v", c.kind, spec.Step, got, want)
			}
		}
	}
	w.scene.shift.Rolls["A001"].Step, w.scene.shift.Rolls["A001"].Erasing = procedure.StepErase, true
	if w.scene.holds(drill.Planned{Kind: drill.CallErase, Roll: "A001"}) {
		t.Error("a call begins while the erase is under way")
	}
	w.scene = NewScene(w.plan, Pace{})
	if w.scene.holds(drill.Planned{Kind: drill.CallStart, Roll: "A001"}) || !w.scene.holds(drill.Planned{Kind: drill.Skip, Roll: "A001"}) {
		t.Error("with no roll under way a call begins, or an arrival does not")
	}
}

// A roll on hold stops nobody from bringing the next ones, but for the card that it is on.
func TestArrivalsGoOnPastAHold(t *testing.T) {
	t.Parallel()
	s := NewScene(&drill.Plan{Rolls: []drill.Roll{
		{Label: "A001", Cue: drill.CueStart}, {Label: "A002", Cue: drill.CueBinned}, {Label: "A003", Cue: drill.CueLogging, After: 0},
		{Label: "A004", Cue: drill.CueReturned}, {Label: "A005", Cue: drill.CueReturned, Over: true},
	}}, Pace{})
	here := func() (out []procedure.Label) {
		s.arrivals()
		for _, f := range s.facts {
			if f.Here {
				out = append(out, f.Label)
			}
		}
		return out
	}
	s.shift.Ready = true
	if got := here(); !slices.Equal(got, []procedure.Label{"A001"}) {
		t.Errorf("at first: %v", got)
	}
	s.facts[0].Known = "A001"
	s.shift.Rolls["A001"] = &procedure.Roll{Label: "A001", Held: &procedure.Hold{Reason: "x"}}
	if got := here(); !slices.Equal(got, []procedure.Label{"A001", "A002", "A003"}) {
		t.Errorf("on hold: %v", got)
	}
	s.facts[1].Known, s.facts[2].Known = "A002", "A003"
	if got := here(); !slices.Equal(got, []procedure.Label{"A001", "A002", "A003", "A004"}) {
		t.Errorf("on hold, and the others are in: %v", got)
	}
	s.facts[3].Known = "A004"
	if got := here(); len(got) != 4 {
		t.Errorf("on hold, and all that can come is in: %v", got)
	}
}
