package command_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/procedure/screen/screentest"
)

// hands drive the real program as an operator does, and see what it shows: plain mode through pipes, or the full screen
// on a pseudo-terminal. Whatever the two have in common is tested through both.
type hands interface {
	// sees waits until a text is shown, since the last thing that was done.
	sees(text string)
	// choose takes the answer with this key of the prompt with this id, write gives a line of text, which the screen
	// asks with question; both wait for what comes next.
	choose(id, key, next string)
	write(id, question, text, next string)
	// command gives a command with its text: by its word in plain mode, by its key on the screen.
	command(word, key, text, next string)
	// step is how this surface names a step.
	step(s procedure.Step) string
	// leave quits and gives the exit code; kill ends the program at once, as a power cut would. after waits for the
	// end of a program that ends by itself, and gives all that it printed, and its exit code.
	leave() int
	kill()
	after() (string, int)
	pid() int
}

// plainHands is plain mode behind pipes. What was printed before the last input line is not looked at again.
type plainHands struct {
	*proc
	from int
}

func (h *plainHands) shown() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return screentest.OneLine(strings.Join(h.all[h.from:], "\n"))
}

func (h *plainHands) sees(text string) {
	h.tb.Helper()
	deadline := time.After(30 * time.Second)
	for {
		h.mu.Lock()
		more := h.more
		h.mu.Unlock()
		if strings.Contains(h.shown(), text) {
			return
		}
		select {
		case <-more:
		case <-deadline:
			h.tb.Fatalf("%q did not come. All output:\n%s", text, h.text())
		}
	}
}

func (h *plainHands) line(text, next string) {
	h.tb.Helper()
	h.mu.Lock()
	h.from = len(h.all)
	h.mu.Unlock()
	h.say(text)
	h.sees(next)
}

func (h *plainHands) choose(id, key, next string) {
	h.tb.Helper()
	h.sees("[" + id + "]")
	h.line(key, next)
}

func (h *plainHands) write(id, _, text, next string) {
	h.tb.Helper()
	h.choose(id, text, next)
}

func (h *plainHands) command(word, _, text, next string) {
	h.tb.Helper()
	h.line(strings.TrimSpace(word+" "+text), next)
}

func (h *plainHands) step(s procedure.Step) string {
	return fmt.Sprintf("-- step %d %s", s.Number(), s.Spec().Title)
}

func (h *plainHands) leave() int {
	h.tb.Helper()
	h.say("quit")
	return h.exit()
}

func (h *plainHands) kill() {
	_ = h.cmd.Process.Kill()
	<-h.done
}

func (h *plainHands) after() (string, int) {
	h.tb.Helper()
	rc := h.exit()
	return screentest.OneLine(h.text()), rc
}

func (h *plainHands) pid() int { return h.cmd.Process.Pid }

// glassHands is the full screen. A text may be broken over lines there.
type glassHands struct{ *glass }

func (h glassHands) sees(text string) {
	h.tb.Helper()
	h.Until(text)
}

func (h glassHands) choose(_, key, next string) {
	h.tb.Helper()
	h.glass.choose(key, next)
}

func (h glassHands) write(_, question, text, next string) {
	h.tb.Helper()
	h.Until(question)
	h.fill(text, next)
}

func (h glassHands) command(word, key, text, next string) {
	h.tb.Helper()
	if text == "" {
		h.glass.choose(key, next)
		return
	}
	question := map[string]string{"hold": "For what reason", "arrived": "Label on its tape", "note": "it is pinned there"}[word]
	h.glass.choose(key, question)
	h.fill(text, next)
}

func (h glassHands) step(s procedure.Step) string {
	return fmt.Sprintf("%s, step %d of %d", s.Spec().Title, s.Number(), len(procedure.Routine()))
}

func (h glassHands) leave() int {
	h.tb.Helper()
	h.Send("\x11")
	return h.ended()
}

func (h glassHands) kill() {
	_ = h.cmd.Process.Kill()
	<-h.Done
	_ = h.cmd.Wait()
}

func (h glassHands) after() (string, int) {
	h.tb.Helper()
	rc := h.ended()
	return screentest.OneLine(h.Screen()), rc
}

func (h glassHands) pid() int { return h.cmd.Process.Pid }

// bench is a station with a program under way at it, in plain mode or full-screen.
type bench struct {
	*station
	hands
	full   bool
	policy string // lines of a policy file
}

// bothWays runs a test in plain mode and full-screen, each on volumes of its own.
func bothWays(t *testing.T, policy string, f func(t *testing.T, b *bench)) {
	t.Helper()
	for _, full := range []bool{false, true} {
		t.Run(map[bool]string{false: "plain", true: "full-screen"}[full], func(t *testing.T) {
			f(t, &bench{station: newStation(t), full: full, policy: policy})
		})
	}
}

// open starts the program, for the first time or again, with more arguments.
func (b *bench) open(args ...string) hands {
	b.tb.Helper()
	args = append([]string{"shift", "--home", b.home, "--reader", b.card.at}, args...)
	if b.policy != "" {
		file := filepath.Join(b.dir, "policy.toml")
		if err := os.WriteFile(file, []byte(b.policy), 0o644); err != nil {
			b.tb.Fatal(err)
		}
		args = append(args, "--config", file)
	}
	if b.full {
		return glassHands{openGlass(b.tb, binary(b.tb), args...)}
	}
	return &plainHands{proc: run(b.tb, binary(b.tb), args...)}
}

// shift begins a shift and works its set-up, up to the first question of the day.
func (b *bench) shift() {
	b.tb.Helper()
	b.hands = b.open("--production", "Harbour Lights", "--day", "3", "--operator", "Kim", "--station", "cart", "--to", b.raid.at, "--to", b.shuttle.at)
	b.write("setup.camera", "A camera's letter", "A blue", "Next camera")
	b.write("setup.camera", "Next camera", "", "How are full cards marked")
	b.write("setup.marking", "How are full cards marked", "red tape", "Kit:")
	b.choose("setup.kit", "k", "Where do the bins stand")
	b.choose("setup.bins", "b", "start the shift")
	b.choose("setup.done", "s", "The red bin is empty")
}

// again starts the program anew after it was left or killed.
func (b *bench) again(next string) {
	b.tb.Helper()
	b.hands = b.open()
	b.sees(next)
}

// receive takes a card in; next is what is shown after it.
func (b *bench) receive(label, next string) {
	b.tb.Helper()
	b.command("arrived", "\x12", label, "Who hands it over")
	b.write("receive.from", "Who hands it over", "Robin", "in its case, tape on")
	b.choose("receive.bin", "b", next)
}

// To a point of the routine, from the point before it.
func (b *bench) toPick(first string) {
	b.tb.Helper()
	b.choose("next", first, "Label as written on the card")
}

func (b *bench) toSeat() {
	b.tb.Helper()
	b.write("pick.card", "as written on the card", "A001", "Label as written on the tape")
	b.write("pick.tape", "as written on the tape", "A001", "the tape is on the reader")
}

func (b *bench) toStart() {
	b.tb.Helper()
	b.choose("seat.tape", "t", "waiting for the card")
	b.card.mount()
	b.sees("Start the copy now")
}

func (b *bench) toLog() {
	b.tb.Helper()
	b.choose("start.go", "s", "Serial number of the card?")
}

func (b *bench) toCount() {
	b.tb.Helper()
	b.write("log.serial", "Serial number of the card?", "S-0117", "Notes from the camera department")
	b.write("log.notes", "Notes from the camera", "", "they are written")
}

func (b *bench) toPull() {
	b.tb.Helper()
	b.choose("count.written", "w", "how many files")
	b.write("count.files", "how many files", "4", "what size")
	b.write("count.size", "what size", "14.7", "the card lies on the desk")
}

func (b *bench) toLook() {
	b.tb.Helper()
	b.card.umount()
	b.sees("card out")
	b.choose("pull.desk", "d", "What stands for the dots")
}

func (b *bench) toMark() {
	b.tb.Helper()
	for _, d := range []*disk{b.raid, b.shuttle} {
		name := strings.ToUpper(filepath.Base(d.at))
		b.sees("On " + name + ":")
		b.answerLook(name, d)
	}
}

// answerLook looks at the drive that is asked for, and answers.
func (b *bench) answerLook(name string, d *disk) {
	b.tb.Helper()
	next := "green tape is on"
	if name == "RAID" {
		next = "On SHUTTLE"
	}
	if g, ok := b.hands.(glassHands); ok {
		g.look(b.station)
		return
	}
	p := b.hands.(*plainHands)
	m := sighted.FindStringSubmatch(p.shown()[strings.LastIndex(p.shown(), "[look."+name):])
	if m == nil {
		b.tb.Fatalf("no sighted check:\n%s", p.shown())
	}
	p.line(seenOn(b.tb, d, m[2], m[3]), next)
}

// seenOn is what stands on a drive for the dots of a sighted check.
func seenOn(tb testing.TB, d *disk, where, shown string) string {
	tb.Helper()
	found, err := filepath.Glob(filepath.Join(d.at, "*/*/A", where, strings.Replace(shown, "····", "????", 1)))
	if err != nil || len(found) != 1 {
		tb.Fatalf("%s %s: %v %v", where, shown, found, err)
	}
	head, _, _ := strings.Cut(shown, "····")
	return filepath.Base(found[0])[len(head) : len(head)+4]
}

func (b *bench) toBin() {
	b.tb.Helper()
	b.choose("mark.green", "g", "it is in the green bin")
}

func (b *bench) toGreen() {
	b.tb.Helper()
	b.choose("bin.green", "i", "The red bin is empty")
}

func (b *bench) toReseat() {
	b.tb.Helper()
	b.choose("next", "e", "waiting for the card")
	b.card.mount()
	b.sees("the card is in the reader")
}

// events are the names of the journal's events, and its fold.
func (b *bench) folded() (*procedure.Shift, []procedure.Entry) {
	b.tb.Helper()
	m, err := filepath.Glob(filepath.Join(b.home, "journals", "*.jsonl"))
	if err != nil || len(m) != 1 {
		b.tb.Fatalf("journals: %v %v", m, err)
	}
	ls, _, err := journal.ReadFile(m[0])
	if err != nil {
		b.tb.Fatal(err)
	}
	s, es, err := procedure.Fold(ls)
	if err != nil {
		b.tb.Fatalf("fold: %v", err)
	}
	return s, es
}

// copied lists what the destinations hold of a roll.
func (b *bench) copied(label string) []string {
	b.tb.Helper()
	var all []string
	for _, d := range []*disk{b.raid, b.shuttle} {
		m, err := filepath.Glob(filepath.Join(d.at, "*/*/A", label))
		if err != nil {
			b.tb.Fatal(err)
		}
		all = append(all, m...)
	}
	return all
}

// out takes the card out of the reader, whatever the program does; what was killed lets go of it soon.
func (b *bench) out() {
	b.tb.Helper()
	for deadline := time.Now().Add(10 * time.Second); b.card.mounted && exec.Command("umount", b.card.at).Run() != nil; {
		if time.Now().After(deadline) {
			b.tb.Fatal("the card cannot be unmounted")
		}
		time.Sleep(5 * time.Millisecond)
	}
	b.card.mounted = false
}
