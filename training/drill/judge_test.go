package drill

import (
	"strings"
	"testing"
	"time"

	"twobin/procedure"
)

// script is entries in the making, one second apart unless said otherwise.
type script struct {
	es  []procedure.Entry
	now time.Duration
	run int
}

func (s *script) add(l procedure.Label, ev procedure.Event) *script {
	s.now += time.Second
	at := procedure.Moment{Wall: time.Date(2031, 5, 6, 9, 0, 0, 0, time.UTC).Add(s.now), Run: s.run, Mono: s.now}
	s.es = append(s.es, procedure.Entry{At: at, Lane: 1, Operator: "Kim", Roll: l, Event: ev})
	return s
}

func (s *script) wait(d time.Duration) *script { s.now += d; return s }

const (
	a1 = procedure.Label("A001")
	a2 = procedure.Label("A002")
)

func acts(name string) procedure.Event { return procedure.Incident{Kind: ActKind, ID: name} }

func asks(about string) procedure.Event {
	return procedure.Incident{Kind: ActKind, ID: ActAsk, Text: about}
}

func reads(where, what string) procedure.Event {
	return procedure.LabelRead{Where: where, Read: what, Right: what == string(a1)}
}

var (
	putBack = procedure.PutBack{Step: "seat"}
	held    = procedure.RollHeld{Step: "pick", Reason: "x", By: "operator"}
	began   = procedure.CopyBegan{To: []string{"RAID", "SHUTTLE"}}
	failed  = procedure.CopyFailed{}
	proven  = procedure.CopyProven{Proof: "p"}
	heldBy  = procedure.RollHeld{Step: "look", Reason: "sighted check failed", By: "program"}
	// proven on two drives, and asked for in that order
	twoCopies = procedure.CopyProven{Copies: []procedure.CopyNote{{Name: "VAN"}, {Name: "SHUTTLE", Proven: true}, {Name: "RAID", Proven: true}}}
	binned    = procedure.RollBinned{}
	returned  = procedure.RollReturned{To: "Robin"}
	shut      = procedure.LockLooked{}
	spare     = procedure.DestinationSet{}
	tooLate   = func(step string) procedure.Event { return procedure.TooLate{Step: step} }
)

// Every kind of incident, played right, late, wrong and missed, as the data of the kind says.
func TestJudges(t *testing.T) {
	t.Parallel()
	ev := func(es ...procedure.Event) []procedure.Event { return es }
	cases := []struct {
		kind Kind
		name string
		want Verdict
		evs  []procedure.Event
	}{
		{CallStart, "lets it ring and starts", Right, ev(began)},
		{CallStart, "puts back, then answers", Right, ev(putBack, acts(ActAnswer))},
		{CallStart, "puts back after the limit", Late, ev(tooLate("start"), putBack)},
		{CallStart, "puts back after answering", Late, ev(acts(ActAnswer), putBack)},
		{CallStart, "answers and goes on", Wrong, ev(acts(ActAnswer), began)},
		{CallStart, "does nothing", Missed, ev()},
		{CallDesk, "finishes, then answers", Right, ev(procedure.RollMarked{}, binned, acts(ActAnswer))},
		{CallDesk, "finishes too late", Late, ev(tooLate("desk"), binned)},
		{CallDesk, "answers first", Wrong, ev(acts(ActAnswer), binned)},
		{CallDesk, "goes away first", Wrong, ev(procedure.AwayBegan{Step: "look"}, binned)},
		{CallDesk, "leaves it", Missed, ev()},
		{CallErase, "puts back", Right, ev(putBack)},
		{CallErase, "puts back after answering", Late, ev(acts(ActAnswer), putBack)},
		{CallErase, "erases", Wrong, ev(procedure.EraseBegan{})},
		{CallErase, "does nothing", Missed, ev()},
		{Wanted, "goes on", Right, ev(proven, binned)},
		{Wanted, "goes on too slowly", Late, ev(tooLate("desk"), binned)},
		{Wanted, "gives it", Wrong, ev(acts(ActGive), binned)},
		{Wanted, "tries to return it", Wrong, ev(procedure.Refused{Asked: "roll.returned"}, binned)},
		{Wanted, "does nothing", Missed, ev()},
		{LabelDiffers, "reads what is written", Right, ev(reads("card", "A011"), held)},
		{LabelDiffers, "asks first", Right, ev(acts(ActAsk), reads("card", "A001"))},
		{LabelDiffers, "asks about it", Right, ev(asks("i1"), reads("card", "A001"))},
		{LabelDiffers, "asks in an older journal", Right, ev(asks("ABOUT A001"), reads("card", "A001"))},
		{LabelDiffers, "asks about something else", Wrong, ev(asks("i2"), reads("card", "A001"))},
		{LabelDiffers, "asks, and nothing was said", Wrong, ev(asks(AskedNone), reads("card", "A001"))},
		{LabelDiffers, "types what is expected", Wrong, ev(reads("card", "A001"), reads("tape", "A001"), began)},
		{LabelDiffers, "leaves it", Missed, ev()},
		{Lacks, "asks and logs it", Right, ev(acts(ActAsk), procedure.RollReceived{Lacks: "no tape"})},
		{Lacks, "logs it, then asks", Right, ev(procedure.RollReceived{Lacks: "no tape"}, acts(ActAsk), began)},
		{Lacks, "logs it and asks nobody", Wrong, ev(procedure.RollReceived{Lacks: "no tape"}, began)},
		{Lacks, "puts it on hold", Right, ev(procedure.RollReceived{Lacks: "no tape"}, held)},
		{Lacks, "asks later and logs nothing", Late, ev(procedure.RollReceived{}, procedure.NoteMade{Text: "lunch at noon"}, acts(ActAsk), began)},
		{Lacks, "notes something else", Wrong, ev(procedure.RollReceived{}, procedure.NoteMade{Text: "lunch at noon"}, began)},
		{Lacks, "asks, then takes it in", Right, ev(acts(ActAsk), procedure.RollReceived{})},
		{Lacks, "asks about something else", Wrong, ev(asks("i2"), procedure.RollReceived{}, began)},
		{Lacks, "notes it later", Late, ev(procedure.RollReceived{}, procedure.NoteMade{Text: "came without tape"}, acts(ActAsk), began)},
		{Lacks, "takes no notice", Wrong, ev(procedure.RollReceived{}, began)},
		{Lacks, "leaves it", Missed, ev()},
		{Skip, "asks and logs", Right, ev(acts(ActAsk), procedure.GapAsked{Answer: "still in the camera"})},
		{Skip, "asks and logs in other words", Right, ev(acts(ActAsk), procedure.GapAsked{Answer: "camera department: in the Camera"})},
		{Skip, "notes it later", Late, ev(acts(ActAsk), procedure.GapAsked{Answer: "do not know"}, procedure.NoteMade{Text: "A is in the camera"})},
		{Skip, "guesses, then asks and notes it", Late, ev(procedure.GapAsked{Answer: "camera"}, acts(ActAsk), procedure.NoteMade{Text: "in the camera"})},
		{Skip, "guesses, then asks and notes it by its label", Late, ev(procedure.GapAsked{Answer: "not known"}, acts(ActAsk), procedure.NoteMade{Text: "A011 will be here by the next lorry"})},
		{Skip, "makes something up", Wrong, ev(acts(ActAsk), procedure.GapAsked{Answer: "do not know"}, procedure.ShiftClosed{})},
		{Skip, "guesses right without asking", Wrong, ev(procedure.GapAsked{Answer: "still in the camera"}, procedure.ShiftClosed{})},
		{Skip, "says only whom to ask", Wrong, ev(acts(ActAsk), procedure.GapAsked{Answer: "ask the camera department"}, procedure.ShiftClosed{})},
		{Skip, "hides the word in others", Wrong, ev(acts(ActAsk), procedure.GapAsked{Answer: "camerawoman knows"}, procedure.ShiftClosed{})},
		{Skip, "does not ask", Missed, ev()},
		{Reused, "is refused and asks", Right, ev(procedure.Refused{Asked: "roll.received"}, acts(ActAsk), procedure.RollReceived{})},
		{Reused, "makes up the right label", Wrong, ev(procedure.RollReceived{})},
		{Reused, "asks about something else", Wrong, ev(asks("i2"), procedure.RollReceived{})},
		{Reused, "leaves it", Missed, ev(procedure.Refused{Asked: "roll.received"})},
		{Unformatted, "copies and tells", Right, ev(began, procedure.RollLogged{Notes: "old clips, told them"}, proven)},
		{Unformatted, "tells after the bin", Late, ev(proven, binned, procedure.NoteMade{Text: "not formatted"})},
		{Unformatted, "notes something else", Missed, ev(proven, procedure.RollLogged{Notes: "gold tape, hold by the edge, told Kim; information below"}, binned, returned)},
		{Unformatted, "names the earlier roll", Right, ev(proven, procedure.NoteMade{Text: "clips of a011 on it"})},
		{Unformatted, "does not copy", Wrong, ev(held, procedure.ShiftClosed{})},
		{Unformatted, "holds first, asks, then copies", Right, ev(held, asks("i1"), proven)},
		{Unformatted, "says it in other words", Right, ev(proven, procedure.RollLogged{Notes: "card was not cleared since its last roll; told Alex"})},
		{Unformatted, "asks about it", Right, ev(asks("i1"), proven)},
		{Unformatted, "asks about something else", Missed, ev(asks("i2"), proven, binned, returned)},
		{Unformatted, "is held for something else later, then tells", Late, ev(proven, held, proven, binned, procedure.NoteMade{Text: "not formatted"})},
		{Unformatted, "tells nobody", Missed, ev(proven, binned, returned)},
		{WrongSeat, "puts back", Right, ev(putBack)},
		{WrongSeat, "puts back after the limit", Late, ev(tooLate("start"), putBack)},
		{WrongSeat, "starts", Wrong, ev(began)},
		{WrongSeat, "leaves it", Missed, ev()},
		{BadCopy, "takes another drive", Right, ev(failed, held, spare, began, proven)},
		{BadCopy, "changes the cable, then takes another drive", Right, ev(failed, acts(ActSwap), began, failed, spare, began, proven)},
		{BadCopy, "changes the cable, then tries again", Wrong, ev(failed, acts(ActSwap), began, failed, began)},
		{BadCopy, "tries again", Wrong, ev(failed, began)},
		{BadCopy, "leaves it", Missed, ev(failed, held)},
		{DriveFull, "takes another drive", Right, ev(failed, spare, began, proven)},
		{DriveFull, "leaves it out", Right, ev(failed, procedure.DestinationDropped{Dest: "RAID"}, began, proven)},
		{DriveFull, "leaves another out", Wrong, ev(failed, procedure.DestinationDropped{Dest: "SHUTTLE"}, began)},
		{DriveFull, "changes only the cable", Wrong, ev(failed, acts(ActSwap), began)},
		{DriveFull, "unplugs it and plugs it in", Wrong, ev(failed, procedure.DestBack{Dest: "RAID"}, began)},
		{DriveFull, "brings another one back", Right, ev(failed, procedure.DestBack{Dest: "SHUTTLE"}, began, proven)},
		{DriveFull, "tries again", Wrong, ev(failed, began)},
		{DriveFull, "leaves it", Missed, ev(failed)},
		{DriveReadOnly, "takes another drive", Right, ev(failed, spare, began, proven)},
		{DriveReadOnly, "changes only the cable", Wrong, ev(failed, acts(ActSwap), began)},
		{DriveReadOnly, "tries again", Wrong, ev(failed, began)},
		{DriveReadOnly, "leaves it", Missed, ev(failed)},
		{DriveGone, "mends the cable", Right, ev(failed, acts(ActSwap), procedure.DestBack{Dest: "RAID"}, began, proven)},
		{DriveGone, "tries again", Wrong, ev(failed, began)},
		{DriveGone, "leaves it", Missed, ev(failed)},
		{Unreadable, "takes another reader", Right, ev(failed, acts(ActSwap), began, proven)},
		{Unreadable, "takes another drive", Wrong, ev(failed, spare, began)},
		{Unreadable, "changes once, then tries again and again", Wrong, ev(failed, acts(ActSwap), began, failed, began)},
		{Unreadable, "changes before every try", Right, ev(failed, acts(ActSwap), began, failed, acts(ActSwap), began, proven)},
		{Unreadable, "changes, stops it, goes on", Right, ev(failed, acts(ActSwap), began, procedure.CopyFailed{Faults: []procedure.Fault{{Kind: "stopped"}}}, began, proven)},
		{Unreadable, "changes before it has quite failed", Right, ev(acts(ActSwap), failed, began, proven)},
		{Unreadable, "tries again", Wrong, ev(failed, began)},
		{Unreadable, "leaves it", Missed, ev(failed)},
		{NoFolder, "holds and says why", Right, ev(procedure.RollHeld{Step: "look", Reason: "not on RAID", By: "operator"})},
		{NoFolder, "opens the drive, then holds", Right, ev(procedure.Incident{Kind: ActKind, ID: ActOpen, Text: "RAID"}, held)},
		{NoFolder, "is asked for it, and holds", Right, ev(twoCopies, procedure.DestLooked{Dest: "SHUTTLE", Right: true}, held)},
		{NoFolder, "guesses there until it is on hold", Right, ev(twoCopies, procedure.DestLooked{Dest: "RAID"}, procedure.DestLooked{Dest: "RAID"}, heldBy)},
		{NoFolder, "guesses elsewhere until it is on hold", Missed, ev(twoCopies, procedure.DestLooked{Dest: "SHUTTLE"}, procedure.DestLooked{Dest: "SHUTTLE"}, heldBy)},
		{NoFolder, "opens and holds for another drive", Missed, ev(twoCopies, procedure.Incident{Kind: ActKind, ID: ActOpen, Text: "SHUTTLE"}, held)},
		{NoFolder, "is stopped there by something else", Missed, ev(twoCopies, procedure.DestLooked{Dest: "SHUTTLE", Right: true}, heldBy)},
		{NoFolder, "holds too late", Late, ev(twoCopies, tooLate("desk"), procedure.DestLooked{Dest: "SHUTTLE", Right: true}, held)},
		{NoFolder, "answers without looking", Wrong, ev(procedure.DestLooked{Dest: "RAID", Right: true})},
		{NoFolder, "leaves it", Missed, ev()},
		{NewTake, "holds", Right, ev(shut, held)},
		{NewTake, "puts back, asks, then holds", Right, ev(shut, putBack, acts(ActAsk), held)},
		{NewTake, "puts back, and the next card comes", Missed, ev(shut, putBack, procedure.RollReceived{From: "Robin"})},
		{NewTake, "tries its luck", Wrong, ev(shut, shut, shut)},
		{NewTake, "hands it back", Wrong, ev(shut, putBack, returned)},
		{NewTake, "leaves it in the green bin", Missed, ev(shut, putBack)},
		{DriveFull, "has room made on it", Right, ev(failed, procedure.Incident{Kind: ActKind, ID: ActFree, Text: "RAID"}, began, proven)},
		{DriveFull, "has room made on another", Wrong, ev(failed, procedure.Incident{Kind: ActKind, ID: ActFree, Text: "SHUTTLE"}, began)},
		{DriveReadOnly, "has room made on it", Wrong, ev(failed, procedure.Incident{Kind: ActKind, ID: ActFree, Text: "RAID"}, began)},
		{WrongErase, "puts back", Right, ev(shut, putBack)},
		{WrongErase, "looks twice", Late, ev(shut, shut, putBack)},
		{WrongErase, "tries its luck", Wrong, ev(shut, shut, shut)},
		{WrongErase, "leaves it", Missed, ev(shut)},
		{PowerCut, "takes it up", Right, ev(procedure.RunBegan{}, procedure.RollPicked{}, began, proven)},
		{PowerCut, "holds it, then takes it up", Late, ev(procedure.RunBegan{}, procedure.RollPicked{}, held, procedure.RollPicked{}, began, proven)},
		{PowerCut, "holds it for good", Missed, ev(procedure.RunBegan{}, held)},
		{PowerCut, "leaves it", Missed, ev(procedure.RunBegan{})},
	}
	met := map[Kind]map[Verdict]bool{}
	for _, c := range cases {
		t.Run(string(c.kind)+" "+c.name, func(t *testing.T) {
			i := Planned{ID: "i1", Kind: c.kind, Roll: a1, Other: "A011", Dest: "RAID", Keys: append(notClean(), keysOf("is still in the camera")...)}
			if c.kind == NewTake { // with another roll it is one of TestJudgeTwoRolls
				i.Other = ""
			}
			plan := &Plan{Rolls: []Roll{{Label: a1}}, Incidents: []Planned{i}}
			s := (&script{run: 1}).add(a1, procedure.Incident{Kind: string(c.kind), ID: "i1"})
			for _, e := range c.evs {
				l := a1
				if r, is := e.(procedure.RollReceived); is && r.From != "" {
					l = a2
				}
				s.add(l, e)
			}
			if got := judge(i, plan, s.es); got.Verdict != c.want || got.Why == "" {
				t.Errorf("judge = %s (%q), want %s", got.Verdict, got.Why, c.want)
			}
		})
		if met[c.kind] == nil {
			met[c.kind] = map[Verdict]bool{}
		}
		met[c.kind][c.want] = true
	}
	for _, k := range Kinds() {
		for _, v := range []Verdict{Right, Wrong, Missed} {
			if k != Together && k != PowerCut && !met[k][v] {
				t.Errorf("%s is never played %s", k, v)
			}
		}
	}
}

// Two rolls at once, and a power cut with another roll, need entries of two rolls.
func TestJudgeTwoRolls(t *testing.T) {
	t.Parallel()
	together := Planned{ID: "i1", Kind: Together, Roll: a2, Other: a1}
	power := Planned{ID: "i1", Kind: PowerCut, Roll: a1}
	take := Planned{ID: "i1", Kind: NewTake, Roll: a1, Other: a2}
	start := func(i Planned) *script {
		return (&script{run: 1}).add(i.Roll, procedure.Incident{Kind: string(i.Kind), ID: "i1"})
	}
	in := procedure.RollReceived{From: "Robin"}
	pick := procedure.RollPicked{Pass: 1}
	cases := []struct {
		name string
		i    Planned
		s    *script
		want Verdict
	}{
		{"in order", together, start(together).add(a1, in).add(a2, in).add(a1, pick).add(a1, reads("card", "A001")), Right},
		{"second one late", together, start(together).add(a1, in).wait(5*time.Minute).add(a2, in).add(a1, pick).add(a1, reads("card", "A001")), Late},
		{"upper one first", together, start(together).add(a2, in), Wrong},
		{"one left outside", together, start(together).add(a1, in).add(a1, pick), Wrong},
		{"takes the upper one", together, start(together).add(a1, in).add(a2, in).add(a1, pick).add(a1, reads("card", "A002")), Wrong},
		{"one never taken in", together, start(together).add(a1, in), Missed},
		{"another roll first", power, start(power).add("", procedure.RunBegan{}).add(a2, pick), Wrong},
		{"after a long time", power, start(power).wait(time.Hour).add("", procedure.RunBegan{}).add(a1, pick).add(a1, proven), Late},
		{"is told of a roll of its own, and takes it in", take, start(take).add(a1, shut).add(a1, putBack).add("", asks("i1")).add(a2, in), Right},
		{"puts it on hold, and takes in the other", take, start(take).add(a1, shut).add("", asks("i1")).add(a1, held).add(a2, in), Right},
		{"holds before asking", take, start(take).add(a1, shut).add(a1, held), Right},
		{"is told, holds, and never takes it in", take, start(take).add(a1, shut).add("", asks("i1")).add(a1, held), Missed},
		{"is told, and hands it back", take, start(take).add(a1, shut).add("", asks("i1")).add(a1, putBack).add(a1, returned), Wrong},
		{"drive left for long", Planned{ID: "i1", Kind: DriveFull, Roll: a1}, start(Planned{Roll: a1, Kind: DriveFull}).add(a1, failed).add("", spare).wait(time.Hour).add(a1, began).add(a1, proven), Late},
	}
	for _, c := range cases {
		if got := judge(c.i, &Plan{}, c.s.es); got.Verdict != c.want {
			t.Errorf("%s = %s (%s), want %s", c.name, got.Verdict, got.Why, c.want)
		}
	}
}

// Every kind has all its words, within three lines of 76 columns each.
func TestIncidentWords(t *testing.T) {
	t.Parallel()
	const most = 3 * 76
	if got, want := len(Incidents()), len(Kinds()); got != want {
		t.Fatalf("%d kinds have data, want %d", got, want)
	}
	for _, k := range Kinds() {
		s, ok := SpecOf(k)
		if !ok || s.judge == nil || s.Step == procedure.StepNone {
			t.Errorf("%s has no data", k)
			continue
		}
		for n, w := range []string{s.Title, s.Moment, s.As, s.Right, s.Late, s.Wrong, s.Missed, s.Why, s.Do} {
			if w == "" || len(w) > most {
				t.Errorf("%s: text %d is %q: it must have 1 to %d bytes", k, n, w, most)
			}
		}
	}
}

// What is said of a missing roll has its words in it: one that is in a car is not on a card, nor on a cart.
func TestKeys(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		where, note string
		want        bool
	}{
		{"comes with the next car", "Comes with the next car.", true},
		{"comes with the next car", "on a card, on the cart", false},
		{"comes with the next car", "one of the cars has it", true},
		{"was dropped and is at the office", "AT THE OFFICE", true},
		{"was dropped and is at the office", "the officer knows", false},
		{"is still in the camera", "in camera B", true},
	} {
		if got := hasWord(c.note, keysOf(c.where)...); got != c.want {
			t.Errorf("%q for %q: %v, want %v", c.note, c.where, got, c.want)
		}
	}
}

// A copy that a third drive kept going is not told as one that was made again.
func TestCopyWentOn(t *testing.T) {
	t.Parallel()
	i := Planned{ID: "i1", Kind: DriveGone, Roll: a1, Dest: "RAID"}
	s := (&script{run: 1}).add(a1, procedure.Incident{Kind: string(DriveGone), ID: "i1"}).add(a1, proven)
	if got := judge(i, &Plan{}, s.es); got.Verdict != Right || !strings.Contains(got.Why, "went on without RAID") {
		t.Errorf("judge = %s (%q)", got.Verdict, got.Why)
	}
}

// A call about a step that was over when it began is nothing that was met.
func TestCallTooLate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		kind Kind
		evs  []procedure.Event
		want Verdict
	}{
		{CallStart, []procedure.Event{procedure.TapeMoved{}, began}, NotMet},
		{CallStart, []procedure.Event{procedure.TapeMoved{}, putBack}, NotMet},
		{CallStart, []procedure.Event{procedure.TapeMoved{}, putBack, procedure.TapeMoved{}}, Missed},
		{CallDesk, []procedure.Event{began, procedure.CardPulled{}, binned}, NotMet},
		{CallDesk, []procedure.Event{began, procedure.CardPulled{}}, Missed},
		{Wanted, []procedure.Event{began, held}, NotMet},
		{Wanted, []procedure.Event{procedure.TapeMoved{}, putBack, procedure.TapeMoved{}, began}, Missed},
		{CallErase, []procedure.Event{procedure.LockLooked{Open: true}, procedure.EraseBegan{}}, NotMet},
		{CallErase, []procedure.Event{procedure.LockLooked{Open: true}}, Missed},
		{WrongSeat, []procedure.Event{procedure.TapeMoved{}, began}, Missed},
	} {
		s := &script{run: 1}
		for _, ev := range c.evs {
			s.add(a1, ev)
		}
		s.add(a1, procedure.Incident{Kind: string(c.kind), ID: "i1"})
		if got := judge(Planned{ID: "i1", Kind: c.kind, Roll: a1}, &Plan{}, s.es); got.Verdict != c.want {
			t.Errorf("%s after %d entries = %s, want %s", c.kind, len(c.evs), got.Verdict, c.want)
		}
	}
}
