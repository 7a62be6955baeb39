package procedure

import (
	"fmt"
	"slices"
	"strings"
)

// draft is what was answered but is no event yet. It is lost in a crash, and that is right: nothing was acknowledged.
type draft struct {
	production, operator, station string
	day                           int
	camerasDone                   bool
	toDone                        bool

	arriving  *arrival
	gap       []Label
	which     string // "erase" or "return": which roll is meant
	serial    *string
	otherCard bool // the card's label was another one; the tape is asked all the same
	sighted   map[string]Sighted
	openOK    bool // the operator closes with open points
	standOK   bool // and with what the last look found
	sheetOK   bool // and without a log sheet
	tapes     int  // wrong counts at the close
	lines     int
}

// arrival is a roll that is being received.
type arrival struct {
	label Label
	from  *string
	lacks bool
	doubt bool // its number leaves out so many that the tape is read again
}

// Options that read the same wherever they stand.
var (
	optNext = []Option{
		{"a", "a card arrives"}, {"p", "pick the first roll of the red bin"}, {"h", "take up a roll that is on hold"},
		{"e", "seat a green card again and erase it"}, {"r", "return a green card"}, {"c", "close the shift"},
	}
	optOpen = []Option{{"b", "back to work"}, {"o", "close with these open points"}}
	optCase = []Option{{"b", "in its case, tape on, in the red bin"}, {"l", "something is lacking"}}
)

func text(id, question, def string) *Prompt {
	return &Prompt{ID: id, Kind: PromptText, Question: question, Default: def}
}

func hidden(id, question string) *Prompt {
	return &Prompt{ID: id, Kind: PromptText, Question: question, Hide: true}
}

func choice(id, question string, o ...Option) *Prompt {
	return &Prompt{ID: id, Kind: PromptChoice, Question: question, Options: o}
}

// ask is the prompt that is due, nil when the program waits for something else (a volume, a copy). It is a function of
// state and draft alone.
func (r *Runner) ask() *Prompt {
	s, d := r.shift, &r.draft
	switch {
	case r.broken != nil || r.ended:
		return nil
	case s.Opened == nil:
		return d.askOpening()
	case s.Closed:
		if s.CodeRight {
			return nil
		}
		if !r.codeWritten {
			return choice("close.written", "Write the closing code above into the book.", Option{"w", "it is written"})
		}
		return hidden("close.code", "Read from the book: what is the closing code?")
	case !s.Ready:
		return r.askSetUp()
	case d.arriving != nil:
		return d.arriving.ask(s, r.lastFrom(d.arriving.label.Camera()))
	case len(d.gap) > 0:
		return text("receive.gap", "Not come in: "+labels(d.gap)+". Ask for it now. What is the answer?", "")
	case d.which == whichHeld:
		return hidden("held.which", "Which roll on hold? Type the label, as on its tape.")
	case d.which != "":
		return hidden(d.which+".which", "Which roll? Type the label, as on the tape you kept.")
	}
	if roll := s.InLane(r.lane); roll != nil {
		return r.askRoll(roll)
	}
	if s.Closing {
		return r.askClose()
	}
	return choice("next", r.nextQuestion(), s.canNext()...)
}

// canNext is what can be next, of optNext.
func (s *Shift) canNext() []Option {
	green := s.At(PlaceGreenBin)
	can := map[string]bool{
		"p": len(s.Red) > 0, "h": len(s.OnHold()) > 0, "r": len(green) > 0,
		"e": slices.ContainsFunc(green, func(g *Roll) bool { return g.Step == StepReseat }),
	}
	return slices.DeleteFunc(slices.Clone(optNext), func(o Option) bool {
		ok, asked := can[o.Key]
		return asked && !ok
	})
}

func (r *Runner) nextQuestion() string {
	if len(r.shift.Red) > 0 {
		return "First in the red bin: " + string(r.shift.Red[0]) + ". What is next?"
	}
	return "The red bin is empty. What is next?"
}

func (d *draft) askOpening() *Prompt {
	switch {
	case d.production == "":
		return text("setup.production", "Production?", "")
	case d.day == 0:
		return text("setup.day", "Shoot day, as a number?", "")
	case d.operator == "":
		return text("setup.operator", "Your name?", "")
	}
	return text("setup.station", "Name of this station?", "cart")
}

func (r *Runner) askSetUp() *Prompt {
	s, d := r.shift, &r.draft
	need := s.limits().Destinations
	switch {
	case !d.camerasDone:
		if len(s.Cameras) == 0 {
			return text("setup.camera", "A camera's letter and its tape colour, like: A blue", "")
		}
		return text("setup.camera", "Next camera and colour; empty line: no more cameras.", "")
	case s.Marking == "":
		return text("setup.marking", "How are full cards marked, as agreed with the camera department?", "")
	case !s.Kit:
		return choice("setup.kit", "Kit: red, green and camera tape, markers, scissors, labels, cases, book.",
			Option{"k", "all of it is at hand"}, Option{"m", "something is missing"})
	case !s.Bins:
		return choice("setup.bins", "Where do the bins stand?",
			Option{"b", "red bin on the left, green bin on the right"}, Option{"x", "not like that"})
	case len(s.Dests) < need:
		return text("setup.to", fmt.Sprintf("Path of destination %d of %d or more:", len(s.Dests)+1, need), "")
	case !d.toDone:
		return text("setup.to", "Path of one more destination; empty line: no more.", "")
	}
	return choice("setup.done", "The set-up is complete.", Option{"s", "start the shift"})
}

func (a *arrival) ask(s *Shift, last string) *Prompt {
	switch {
	case a.label == "":
		return text("receive.label", "Label on the tape of the card that arrives?", "")
	case a.doubt:
		skipped := s.skipped(a.label)
		return hidden("receive.again", fmt.Sprintf("That leaves out %s. Read the tape again: which label?", labels(skipped)))
	case a.from == nil:
		return text("receive.from", "Who hands it over?", last)
	case a.lacks:
		return text("receive.lacks", "What is lacking? Ask the one who brought it; write down what you heard.", "")
	}
	return choice("receive.bin", "Where is the card, and how?", optCase...)
}

func (r *Runner) askRoll(roll *Roll) *Prompt {
	switch roll.Step {
	case StepPick:
		if !roll.ReadCard && !r.draft.otherCard {
			return hidden("pick.card", "Label as written on the card?")
		}
		return hidden("pick.tape", "Label as written on the tape?")
	case StepSeat:
		if !roll.TapeMoved {
			return choice("seat.tape", "Tape onto the reader, card in at once.", Option{"t", "the tape is on the reader"})
		}
		return nil // waits for the volume, or its scan
	case StepStart:
		if r.working != "" {
			return nil
		}
		return choice("start.go", "Start the copy now.", Option{"s", "start"})
	case StepLog:
		if r.draft.serial == nil {
			return text("log.serial", "Serial number of the card? Empty line: none on it.", "")
		}
		return text("log.notes", "Notes from the camera department? Empty line: none.", "")
	case StepCount:
		return r.askCount(roll)
	case StepPull:
		if roll.Copy != CopyIsProven {
			return nil
		}
		return choice("pull.desk", "Eject, pull the card, lay it on the desk.", Option{"d", "the card lies on the desk"})
	case StepLook:
		return r.askLook(roll)
	case StepMark:
		return choice("mark.green", "Wipe the label off the card, green tape on.", Option{"g", "green tape is on"})
	case StepBin:
		return choice("bin.green", "Card into the green bin; tape off the reader, into the book.", Option{"i", "it is in the green bin, the tape is kept"})
	case StepReseat, StepErase:
		return r.askErase(roll)
	case StepReturn:
		return text("return.to", "Pull the card if it is in the reader. Who takes it?", r.lastTo(roll))
	case StepNone, StepReceive:
	}
	return nil
}

func (r *Runner) askCount(roll *Roll) *Prompt {
	switch {
	case !roll.CountShown:
		return choice("count.written", "Write the figures above into the book.", Option{"w", "they are written"})
	case !roll.CountFiles:
		return hidden("count.files", "Read from the book: how many files?")
	}
	return hidden("count.size", "Read from the book: what size?")
}

// askLook asks the next destination that was not looked at yet; the check was made when the step became due.
func (r *Runner) askLook(roll *Roll) *Prompt {
	for _, c := range roll.Copies {
		if c.Proven && roll.Looked[c.Name] != r.shift.Operator {
			q, ok := r.draft.sighted[c.Name]
			if !ok {
				return nil
			}
			return text("look."+c.Name, "On "+Plain(c.Name)+": "+q.Question, "")
		}
	}
	return nil
}

func (r *Runner) askErase(roll *Roll) *Prompt {
	switch {
	case r.working != "":
		return nil
	case roll.Step == StepReseat && !r.shift.lookedAll(roll, r.shift.Operator):
		return r.askLook(roll)
	case roll.Seated == nil:
		return nil
	case !roll.Reseated:
		return choice("reseat.in", "Is the card in the reader?", Option{"i", "the card is in the reader"})
	case roll.Lock == nil || !roll.Lock.Open || roll.Lock.Void:
		return choice("reseat.look", "The lock is closed.", Option{"l", "look again"})
	}
	return &Prompt{ID: "erase.label", Kind: PromptErase, Question: "Type the label, read from the tape you kept.", Hide: true}
}

// lastFrom is who brought the last roll of a camera; lastTo who took one back.
func (r *Runner) lastFrom(c Camera) string {
	for i := len(r.shift.Order) - 1; i >= 0; i-- {
		if o := r.shift.Rolls[r.shift.Order[i]]; o.Label.Camera() == c && o.From != "" {
			return o.From
		}
	}
	return ""
}

func (r *Runner) lastTo(roll *Roll) string {
	best := roll.From
	var at Moment
	for _, l := range r.shift.Order {
		if o := r.shift.Rolls[l]; o.Label.Camera() == roll.Label.Camera() && o.To != "" && (o.ReturnedAt.Run > at.Run || o.ReturnedAt.Run == at.Run && o.ReturnedAt.Mono >= at.Mono) {
			best, at = o.To, o.ReturnedAt
		}
	}
	return best
}

// fewLabels is how many labels are written out one by one.
const fewLabels = 6

// labels is a list of labels in words. Of a long one, what follows each other is named by its ends: "B004 to B899, 896
// numbers".
func labels(ls []Label) string {
	w := make([]string, 0, len(ls))
	if len(ls) <= fewLabels {
		for _, l := range ls {
			w = append(w, string(l))
		}
		return strings.Join(w, ", ")
	}
	for from := 0; from < len(ls); {
		to := from
		for to+1 < len(ls) && ls[to+1].Camera() == ls[from].Camera() && ls[to+1].Number() == ls[to].Number()+1 {
			to++
		}
		switch {
		case len(w) == fewLabels:
			return strings.Join(w, ", ") + fmt.Sprintf(" and more, %d numbers", len(ls))
		case to == from:
			w = append(w, string(ls[from]))
		default:
			w = append(w, string(ls[from])+" to "+string(ls[to]))
		}
		from = to + 1
	}
	return strings.Join(w, ", ") + fmt.Sprintf(", %d numbers", len(ls))
}

// farJump is how many numbers a label may leave out without being read again; own choice.
const farJump = 20

// skipped lists the numbers between the last one of a camera that came in, in this shift or before, and a label.
func (s *Shift) skipped(l Label) []Label {
	last := 0
	for _, o := range s.Order {
		if o.Camera() == l.Camera() {
			last = max(last, o.Number())
		}
	}
	if last == 0 {
		last = s.knownBelow(l.Camera(), l.Number())
	}
	var out []Label
	for n := last + 1; last > 0 && n < l.Number(); n++ {
		out = append(out, MakeLabel(l.Camera(), n))
	}
	return out
}
