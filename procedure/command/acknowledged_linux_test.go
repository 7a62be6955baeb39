package command_test

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// acknowledged is what one run of the program vouched for by what it said: every event that has to be in the journal by
// then (invariant 7), however soon after that line the program was killed.
type acknowledged struct {
	claims  []claim
	pending *claim // answered, and nothing said yet that shows the answer as taken
	prompt  string // the last prompt's line, and the last step's
	step    string
}

// claim is one event that has to be there.
type claim struct {
	event string
	asked string // the event's own note of the prompt that was answered; empty: it has none
	code  string // the closing code that was shown for it
	after []int  // the claims that it comes later than
	ever  bool   // an earlier run may have brought it about
	by    string // the line of output that vouches for it
	hands bool   // a person's answer brought it about
}

// eventOf is the event that the answer to a prompt becomes; "" where the answer is only kept for the next one.
func eventOf(id, answer string) string {
	switch {
	case strings.HasPrefix(id, "look."):
		return procedure.DestLooked{}.Name()
	case answer == "put back":
		return procedure.PutBack{}.Name()
	case id == "next":
		return map[string]string{"p": procedure.RollPicked{}.Name(), "e": procedure.RollTaken{}.Name(), "r": procedure.RollTaken{}.Name(),
			"c": procedure.CloseBegan{}.Name()}[answer]
	case id == "setup.camera" && answer == "":
		return ""
	}
	return map[string]string{
		"setup.camera": procedure.CameraSet{}.Name(), "setup.marking": procedure.MarkingAgreed{}.Name(), "setup.kit": procedure.KitChecked{}.Name(),
		"setup.bins": procedure.BinsPlaced{}.Name(), "setup.done": procedure.SetUpDone{}.Name(), "receive.bin": procedure.RollReceived{}.Name(),
		"pick.card": procedure.LabelRead{}.Name(), "pick.tape": procedure.LabelRead{}.Name(), "seat.tape": procedure.TapeMoved{}.Name(),
		"start.go": procedure.CopyBegan{}.Name(), "log.notes": procedure.RollLogged{}.Name(), "count.written": procedure.CountShown{}.Name(),
		"count.files": procedure.CountRead{}.Name(), "count.size": procedure.CountRead{}.Name(), "pull.desk": procedure.CardPulled{}.Name(),
		"mark.green": procedure.RollMarked{}.Name(), "bin.green": procedure.RollBinned{}.Name(), "reseat.in": procedure.RollReseated{}.Name(),
		"erase.label": procedure.EraseBegan{}.Name(), "return.to": procedure.RollReturned{}.Name(), "close.tapes": procedure.TapesCounted{}.Name(),
		"close.book": procedure.BookCounted{}.Name(), "close.done": procedure.ShiftClosed{}.Name(), "close.code": procedure.CodeRead{}.Name(),
	}[id]
}

// implied are the lines of output that vouch for an event by themselves, most of them the machine's; after are the events
// since which it has to have happened. A card on the desk stays there when the program is killed, so what was done with it
// may be of an earlier run.
var implied = []struct {
	line  *regexp.Regexp
	event procedure.Event
	after []procedure.Event
	ever  bool
}{
	{regexp.MustCompile(`^\[`), procedure.RunBegan{}, nil, false},
	{regexp.MustCompile(`^\[setup\.camera\]`), procedure.ShiftOpened{}, nil, true},
	{regexp.MustCompile(`^\[setup\.camera\]`), procedure.DestinationSet{}, nil, true},
	{regexp.MustCompile(`^\[setup\.camera\]`), procedure.DestinationSet{}, []procedure.Event{procedure.DestinationSet{}}, true}, // the second drive
	{regexp.MustCompile(`^reader: seated|^waiting: reading the card`), procedure.CardSeated{}, []procedure.Event{procedure.TapeMoved{}, procedure.RollTaken{}}, false},
	{regexp.MustCompile(`^\[start\.go\]`), procedure.CardSeated{}, []procedure.Event{procedure.TapeMoved{}}, false},
	{regexp.MustCompile(`^\[start\.go\]|^-- step 4 `), procedure.CardScanned{}, []procedure.Event{procedure.TapeMoved{}, procedure.CardSeated{}}, false},
	{regexp.MustCompile(`^copy: |^reader: copying|^-- step 5 `), procedure.CopyBegan{}, []procedure.Event{procedure.CardScanned{}}, false},
	{regexp.MustCompile(`^\[pull\.desk\]|^reader: copied`), procedure.CopyProven{}, []procedure.Event{procedure.CopyBegan{}}, false},
	{regexp.MustCompile(`^reader: card out|^look: The card is no longer`), procedure.CardGone{}, []procedure.Event{procedure.CardSeated{}}, true},
	{regexp.MustCompile(`^-- step 8 `), procedure.CardPulled{}, []procedure.Event{procedure.CopyProven{}}, true},
	{regexp.MustCompile(`^\[reseat\.in\]`), procedure.CardSeated{}, []procedure.Event{procedure.RollTaken{}}, false},
	{regexp.MustCompile(`^waiting: looking afresh`), procedure.RollReseated{}, []procedure.Event{procedure.RollTaken{}}, false},
	{regexp.MustCompile(`^lock: |^\[erase\.label\]`), procedure.LockLooked{}, []procedure.Event{procedure.RollReseated{}}, false},
	{regexp.MustCompile(`^reader: erasing|^waiting: removing`), procedure.EraseBegan{}, []procedure.Event{procedure.LockLooked{}}, false},
	{regexp.MustCompile(`^info: The card is empty|^reader: erased`), procedure.EraseDone{}, []procedure.Event{procedure.EraseBegan{}}, false},
	{regexp.MustCompile(`^info: A001 closed`), procedure.RollReturned{}, []procedure.Event{procedure.RollTaken{}}, false},
	{regexp.MustCompile(`A001 is on hold`), procedure.RollHeld{}, nil, false},
	{regexp.MustCompile(`A001 is put back`), procedure.PutBack{}, nil, false},
	{regexp.MustCompile(`A volume appeared that no step`), procedure.StrayVolume{}, nil, false},
	{regexp.MustCompile(`^info: Last look`), procedure.CopiesLooked{}, []procedure.Event{procedure.CloseBegan{}}, false},
	{regexp.MustCompile(`^info: The log sheet is written`), procedure.SheetWritten{}, []procedure.Event{procedure.CopiesLooked{}}, false},
	{regexp.MustCompile(`Closing code: `), procedure.ShiftClosed{}, nil, true},
	{regexp.MustCompile(`^info: The shift is closed`), procedure.CodeRead{}, nil, false},
}

// no is what the program says when it may not have taken an answer; harmless are notices that are no such thing.
var (
	no       = regexp.MustCompile(`^(look|stop|refused|failed|typed too early)\b`)
	harmless = regexp.MustCompile(`belong to A001|The lock is closed|Ask the camera department`)
)

// answer notes what is going to be said to the program.
func (a *acknowledged) answer(id, answer string) {
	a.pending = nil
	if ev := eventOf(id, answer); ev != "" {
		a.pending = &claim{event: ev, asked: id, hands: true}
	}
}

// hear takes the next line of output. Another prompt, or another step, shows the answer before it as taken.
func (a *acknowledged) hear(l string) {
	prompt, step := promptID(l) != "", strings.HasPrefix(l, "-- ")
	switch {
	case no.MatchString(l) && !harmless.MatchString(l):
		a.pending = nil
	case (prompt && l != a.prompt || step && l != a.step) && a.pending != nil:
		a.pending.by = l
		a.pending.after = a.last(func(c claim) bool { return c.hands })
		a.claims = append(a.claims, *a.pending)
		a.pending = nil
	}
	if prompt {
		a.prompt = l
	}
	if step {
		a.step = l
	}
	for _, i := range implied {
		if !i.line.MatchString(l) {
			continue
		}
		c := claim{event: i.event.Name(), by: l, ever: i.ever}
		for _, ev := range i.after {
			c.after = append(c.after, a.last(func(o claim) bool { return o.event == ev.Name() })...)
		}
		_, c.code, _ = strings.Cut(l, "Closing code: ")
		a.claims = append(a.claims, c)
	}
}

// last is the index of the last claim of a kind, or nothing.
func (a *acknowledged) last(is func(claim) bool) []int {
	for i, c := range slices.Backward(a.claims) {
		if is(c) {
			return []int{i}
		}
	}
	return nil
}

// missing names the first claim that the journal does not hold in its place; lines from begun on are of this run.
func (a *acknowledged) missing(lines []journal.Line, begun int) error {
	at := make([]int, len(a.claims))
	for n, c := range a.claims {
		at[n] = begun
		if c.ever {
			at[n] = 0
		}
		for _, k := range c.after {
			at[n] = max(at[n], at[k]+1)
		}
		for at[n] < len(lines) && !c.is(lines[at[n]]) {
			at[n]++
		}
		if at[n] == len(lines) {
			return fmt.Errorf("the program said %q, and of its %d lines in the journal none is %s%s, where it has to be", c.by, len(lines)-begun, c.event, c.detail())
		}
	}
	return nil
}

func (c claim) detail() string {
	switch {
	case c.asked != "":
		return " (the answer to " + c.asked + ")"
	case c.code != "":
		return " (with the code " + c.code + ")"
	}
	return ""
}

// is says whether a line is the event that was claimed.
func (c claim) is(l journal.Line) bool {
	if l.Event != c.event || !strings.HasPrefix(journal.CodeOf(l), c.code) {
		return false
	}
	var d procedure.Answered
	return c.asked == "" || json.Unmarshal(l.Data, &d) == nil && d.Prompt == c.asked
}
