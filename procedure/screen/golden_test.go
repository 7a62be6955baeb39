package screen

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"
	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
)

// Not named -update: a test helper of Bubble Tea owns that name.
var writeScreens = flag.Bool("write-screens", false, "write the golden screens anew; read them before they are committed")

// scene is one view of the golden screens, and what was done on it before it is drawn.
type scene struct {
	name string
	view procedure.View
	keys []string
	then func(v *procedure.View) // what the desk says next
}

func drill(v procedure.View) procedure.View { v.Drill = "first roll"; return v }

func scenes() []scene {
	optNext := []procedure.Option{
		{Key: "a", Text: "a card arrives"}, {Key: "p", Text: "pick the first roll of the red bin"}, {Key: "h", Text: "take up a roll that is on hold"},
		{Key: "e", Text: "seat a green card again and erase it"}, {Key: "r", Text: "return a green card"}, {Key: "c", Text: "close the shift"},
	}
	setup := procedure.View{Step: procedure.StepView{Title: "Set-up", Brief: "The set-up, once a shift.", Mark: "due", Why: "Agreed before the first card comes."},
		Strip: procedure.Strip{ReaderNote: "empty"}, Prompt: ask("setup.production", "Production?"), Commands: []string{"why", "quit"}}
	station := setup
	station.Prompt = ask("setup.station", "Name of this station?")
	station.Prompt.Default = "cart"
	bins := setup
	bins.Prompt = pick("setup.bins", "Where do the bins stand?", procedure.Option{Key: "b", Text: "red bin on the left, green bin on the right"}, procedure.Option{Key: "x", Text: "not like that"})

	next := at(procedure.StepPick, pick("next", "First in the red bin: A004. What is next?", optNext...))
	next.Step.Roll, next.Step.Camera, next.Step.Colour, next.Strip.Reader, next.Strip.ReaderNote = "", "", "", "", "empty"
	full := next
	full.Strip.Red = nil
	for n := range 12 {
		full.Strip.Red = append(full.Strip.Red, procedure.MakeLabel("A", n+4))
	}
	full.Notices = []procedure.Notice{{Grade: "info", What: "A003 closed."}}

	pickCard := at(procedure.StepPick, askHidden("pick.card", "Label as written on the card?"))
	pickCard.Strip.Reader, pickCard.Strip.Hand, pickCard.Strip.ReaderNote = "", "A003", "empty"
	wrong := pickCard
	wrong.Notices = []procedure.Notice{{Grade: "look", What: "Card and tape do not agree.", Safe: "nothing was copied.", Do: "read both again; if they differ, put the roll on hold and ask."}}

	seat := at(procedure.StepSeat, pick("seat.tape", "Tape onto the reader, card in at once.", procedure.Option{Key: "t", Text: "the tape is on the reader"}))
	wait := at(procedure.StepSeat, nil)
	wait.Working = "waiting for the card in the reader"
	start := at(procedure.StepStart, pick("start.go", "Start the copy now.", procedure.Option{Key: "s", Text: "start"}))
	start.Clocks = []procedure.Clock{{Name: "start", Since: 9 * time.Second, Limit: 30 * time.Second}}
	late := start
	late.Clocks = []procedure.Clock{{Name: "start", Since: 34 * time.Second, Limit: 30 * time.Second, Over: true}}
	late.Notices = []procedure.Notice{{Grade: "info", What: "B003 can wait."}, {Grade: "stop", What: "Too long since the card was seated.", Safe: "nothing was copied.", Do: "card out, tape back on, red bin: put back."}}

	log := at(procedure.StepLog, ask("log.serial", "Serial number of the card? Empty line: none on it."))
	log.Copy = sampleCopy()
	log.Notes = []procedure.Note{{ID: 1, Roll: "A003", Text: "lens flare in the last take"}, {ID: 2, Camera: "B", Text: "new battery plate"}}
	brief := log
	brief.Brief = true
	fault := log
	fault.Copy = sampleCopy()
	fault.Copy.Dests[1].Fault = "the drive is full"
	fault.Notices = []procedure.Notice{
		{Grade: "info", What: "B003 is logged."},
		{Grade: "stop", What: "A003 on RAID: the drive is full, 412.0 GB more are needed.", Safe: "the card is whole; what other drives hold stays.",
			Do: "make room or take another drive, then pick A003 again.", Cause: "write A003 on RAID: clip.mov: no space left on device"},
	}
	count := at(procedure.StepCount, pick("count.written", "Write the figures above into the book.", procedure.Option{Key: "w", Text: "they are written"}))
	count.Shown, count.Copy = []string{"214 files", "118.2 GB"}, sampleCopy()
	countAsk := at(procedure.StepCount, askHidden("count.files", "Read from the book: how many files?"))
	countAsk.Copy = sampleCopy()
	pull := at(procedure.StepPull, pick("pull.desk", "Eject, pull the card, lay it on the desk.", procedure.Option{Key: "d", Text: "the card lies on the desk"}))
	look := at(procedure.StepLook, askHidden("look.SHUTTLE", "On SHUTTLE: Open A003/CLIPS. What stands for the dots: scene-a-····.mov"))
	look.Strip.Reader, look.Strip.ReaderNote, look.Strip.Desk = "", "empty", []procedure.Label{"A003"}
	look.Clocks = []procedure.Clock{{Name: "desk", Since: 42 * time.Second, Limit: 3 * time.Minute}}
	adds := next
	adds.Step = procedure.StepView{Title: "Close", Mark: "due", Hands: []string{"The close of the shift."}}
	adds.Prompt = pick("close.done", "It does not add up.", procedure.Option{Key: "b", Text: "back to work"}, procedure.Option{Key: "o", Text: "close with these open points"})
	adds.Notices = []procedure.Notice{{Grade: "info", What: "Last look: the copies of 3 rolls stand on 2 drives, every file by its name and size."},
		{Grade: "info", What: "The log sheet is written: /home/kim/twobin/sheets/day003.csv, .xlsx, .html."}}
	adds.Amiss = []string{"A004 is in the red bin", "B003 is on hold: the tape reads B008", "A006 has not come in", "tapes kept do not match: 4 counted, 3 rolls handled",
		"book lines do not match: 5 counted, 4 rolls logged"}
	closed := eraseView()
	closed.Lock[4].Holds, closed.Lock[4].Says = false, "RAID is not mounted"
	closed.Notices = []procedure.Notice{{Grade: "look", What: "\"A004\" is not the label of this roll.", Do: "nothing was removed. Read it from the tape you kept; not sure: put back."}}
	away := func(v *procedure.View) {
		v.Away, v.AwayText = true, []string{"You are at: Count.", "Next is: Pull."}
		v.Notices = []procedure.Notice{{Grade: "info", What: "This came while nobody was here."}}
	}
	shut := at(procedure.StepReseat, pick("reseat.look", "The lock is closed.", procedure.Option{Key: "l", Text: "look again"}))
	shut.Notices = []procedure.Notice{{Grade: "stop", What: "The lock is closed. L2: the card does not hold what was proven: 2 new", Safe: "nothing was removed.",
		Do: "put back. Recorded on again? On hold, ask: the same roll or a new one?"}}
	around := func(v procedure.View) procedure.View {
		v = drill(v)
		v.World = []string{"The card in your hand has the label A003; its tape says A003 too.", "The phone on the cart rings."}
		return v
	}
	return []scene{
		{name: "drill-log", view: around(fault)}, {name: "drill-start", view: around(late)}, {name: "drill-erase", view: around(closed)},
		{name: "drill-act", view: around(log), keys: []string{"ctrl+w", "answer"}},
		{name: "drill-act-erase", view: around(eraseView()), keys: []string{"A0", "ctrl+w", "answer"}},
		{name: "drill-act-start", view: around(start), keys: []string{"ctrl+w", "answer"}},
		{name: "drill-away", view: around(count), then: away},
		{name: "setup-production", view: setup}, {name: "setup-station", view: station}, {name: "setup-bins", view: drill(bins)},
		{name: "next", view: next}, {name: "next-full", view: full},
		{name: "pick-card", view: pickCard, keys: []string{"a0"}}, {name: "pick-wrong", view: drill(wrong)},
		{name: "seat", view: seat}, {name: "seat-wait", view: wait}, {name: "start", view: drill(start)}, {name: "start-late", view: late},
		{name: "start-why", view: start, keys: []string{"?"}},
		{name: "log", view: log}, {name: "log-brief", view: brief}, {name: "log-fault", view: fault}, {name: "cause", view: fault, keys: []string{"ctrl+g"}},
		{name: "why", view: log, keys: []string{"?"}}, {name: "board", view: log, keys: []string{"ctrl+b"}},
		{name: "hold-line", view: log, keys: []string{"ctrl+o", "no sound on it"}},
		{name: "count-shown", view: count}, {name: "count-asked", view: countAsk}, {name: "pull", view: pull}, {name: "look", view: look},
		{name: "close-amiss", view: adds},
		{name: "erase", view: eraseView(), keys: []string{"A00"}}, {name: "erase-closed", view: drill(closed)},
		{name: "reseat-shut", view: shut}, {name: "reseat-hold", view: around(shut), keys: []string{"ctrl+o", "one more take"}},
		{name: "erase-why", view: eraseView(), keys: []string{"?"}},
		{name: "away", view: count, then: away}, {name: "away-back", view: drill(count), then: away, keys: []string{"x"}},
	}
}

func (s scene) draw(t *testing.T, w, h int, colour bool) string {
	t.Helper()
	x := drive(t, s.view, w, h, colour)
	if s.then != nil {
		s.then(&x.desk.view)
		x.look()
		x.pass(time.Second)
	}
	x.press(s.keys...)
	return x.m.View()
}

func TestGoldenScreens(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		golden(t, s.name+".80x24", s.draw(t, 80, 24, false))
	}
	for _, s := range scenes() {
		switch s.name {
		case "log-fault", "erase", "start", "next-full":
			golden(t, s.name+".120x40", s.draw(t, 120, 40, false))
			golden(t, s.name+".60x20", s.draw(t, 60, 20, false))
		}
		if s.name == "log-fault" || s.name == "start-late" {
			golden(t, s.name+".colour", strings.ReplaceAll(s.draw(t, 80, 24, true), "\x1b", "<ESC>"))
		}
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	lines := strings.Split(got, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	got = strings.Join(lines, "\n") + "\n"
	path := filepath.Join("..", "..", "testdata", "screens", name+".txt")
	if *writeScreens {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s differs (-want +got); read it, then run with -write-screens:\n%s", name, diff)
	}
}

// Every view fills its window exactly: what is longer would push its first lines off the screen.
func TestEveryViewFits(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		for _, size := range [][2]int{{80, 24}, {81, 25}, {97, 31}, {120, 40}, {200, 60}, {40, 10}, {10, 3}} {
			got := s.draw(t, size[0], size[1], true)
			if h := lipgloss.Height(got); h > size[1] {
				t.Errorf("%s at %dx%d has %d lines", s.name, size[0], size[1], h)
			}
			if w := lipgloss.Width(got); w > size[0] {
				t.Errorf("%s at %dx%d is %d columns wide", s.name, size[0], size[1], w)
			}
		}
	}
}

var sgr = regexp.MustCompile("\x1b\\[([0-9;]*)m")

// Invariant 12: colour never carries meaning alone. The screen without colour says the same words, and a colour is only
// ever on the block before its word, so that no text depends on a theme's contrast (WCAG 2.2, 1.4.1 and 1.4.3).
func TestInvariant12ColourNeverAlone(t *testing.T) {
	t.Parallel()
	coloured := 0
	for _, s := range scenes() {
		got := s.draw(t, 80, 24, true)
		plain := s.draw(t, 80, 24, false)
		if diff := cmp.Diff(squeeze(plain), squeeze(sgr.ReplaceAllString(got, ""))); diff != "" {
			t.Errorf("%s: without colour other words (-without +with):\n%s", s.name, diff)
		}
		on := false
		rest := got
		for rest != "" {
			loc := sgr.FindStringSubmatchIndex(rest)
			text := rest
			if loc != nil {
				text = rest[:loc[0]]
			}
			if on {
				coloured++
				if strings.Trim(text, "█") != "" {
					t.Errorf("%s: coloured text %q", s.name, text)
				}
			}
			if loc == nil {
				break
			}
			on = isColour(rest[loc[2]:loc[3]])
			rest = rest[loc[1]:]
		}
	}
	if coloured == 0 {
		t.Error("no colour found: the test sees nothing")
	}
}

// isColour: the parameters set a foreground or background (ECMA-48, SGR 30-38, 40-48, 90-97, 100-107).
func isColour(params string) bool {
	return regexp.MustCompile(`(^|;)([34][0-8]|9[0-7]|10[0-7])(;|$)`).MatchString(params)
}

func squeeze(s string) string { return strings.Join(strings.Fields(s), " ") }

// Colour and bold change no character and no place: without them every screen reads the same.
func TestColourMovesNothing(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		if diff := cmp.Diff(s.draw(t, 80, 24, false), ansi.Strip(s.draw(t, 80, 24, true))); diff != "" {
			t.Errorf("%s in colour (-without +with):\n%s", s.name, diff)
		}
	}
}
