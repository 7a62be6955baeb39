package command

import (
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// patience is how long a drill in a test may take before its hands are stuck: much longer than any does.
const patience = 3 * time.Minute

// hands answer prompts from what stands on the output and in the sandbox's drives, as a person would who has the output
// of one process before their eyes.
type hands struct {
	in chan string
	// instead gives another answer than the right one to a prompt, or does nothing; nil for hands that are always right.
	instead func(id string) (answer string, ok bool)

	sandbox string
	asked   []string // the ids of prompts that were answered, in order
	last    string   // the prompt answered last: one that is only printed again is not answered again
	cameras []string // letter and colour, not named yet
	brought [][]string
	front   []string // what is written on card and tape of the roll in the hand
	green   []string // in the green bin
	tapes   int
	lines   int
	sticker string
	book    struct{ files, size, code string }
}

var (
	promptRE  = regexp.MustCompile(`\[([a-z]+(?:\.[A-Za-z]+)?)\] (.*)`)
	dotsRE    = regexp.MustCompile(`dots: ([^· ]+)(·+)(\S*)`)
	cameraRE  = regexp.MustCompile(`Camera (\S) has (\S+) tape\.`)
	broughtRE = regexp.MustCompile(`\| (\S+) brings a card: its tape reads (\S+)\.`)
	frontRE   = regexp.MustCompile(`Front of the red bin: a card, written on it (\S+), its tape (\S+)\.`)
	stickerRE = regexp.MustCompile(`On the card's sticker: number (\S+)\.`)
	hangRE    = regexp.MustCompile(`(Tapes that hang|Lines of today) in your book: (.*)\.`)
	labelRE   = regexp.MustCompile(`\b[A-Z]\d{3}\b`)
)

// line takes one line of output: what is to be seen and heard, or a prompt, which is answered.
func (h *hands) line(tb testing.TB, l string) {
	tb.Helper()
	h.sees(l)
	m := promptRE.FindStringSubmatch(l)
	if strings.HasPrefix(l, "DRILL -- ") {
		h.last = ""
	}
	if m == nil || l == h.last {
		return
	}
	h.last = l
	h.asked = append(h.asked, m[1])
	if h.instead != nil {
		if answer, ok := h.instead(m[1]); ok {
			h.in <- answer
			return
		}
	}
	answer, ok := h.answer(tb, m[1], m[2])
	const most = 300 // more than any of these drills asks
	if !ok || len(h.asked) > most {
		tb.Errorf("unexpected prompt: %s", l)
		answer = "quit"
	}
	h.in <- answer
}

// sees keeps what hands will need.
func (h *hands) sees(l string) {
	if d, ok := strings.CutPrefix(l, "DRILL sandbox: "); ok {
		h.sandbox = d
	}
	if _, f, ok := strings.Cut(l, "for the book: "); ok {
		if code, isCode := strings.CutPrefix(f, "Closing code: "); isCode {
			h.book.code = code
		} else {
			files, size, _ := strings.Cut(f, ", ")
			h.book.files, h.book.size = strings.Fields(files)[0], size
		}
	}
	if m := cameraRE.FindStringSubmatch(l); m != nil {
		h.cameras = append(h.cameras, m[1]+" "+m[2])
	}
	if m := broughtRE.FindStringSubmatch(l); m != nil {
		h.brought = append(h.brought, m[1:])
	}
	if m := frontRE.FindStringSubmatch(l); m != nil {
		h.front = m[1:]
	}
	if m := stickerRE.FindStringSubmatch(l); m != nil {
		h.sticker = m[1]
	}
	if m := hangRE.FindStringSubmatch(l); m != nil {
		n := len(labelRE.FindAllString(m[2], -1))
		if m[1] == "Lines of today" {
			h.lines = n
		} else {
			h.tapes = n
		}
	}
}

// answer is the right answer to a prompt; false where these hands know none.
func (h *hands) answer(tb testing.TB, id, question string) (string, bool) {
	tb.Helper()
	fixed := map[string]string{
		"setup.marking": "red tape", "setup.kit": "k", "setup.bins": "b", "setup.done": "s", "receive.bin": "b", "seat.tape": "t", "start.go": "s",
		"log.serial": h.sticker, "log.notes": "", "count.written": "w", "count.files": h.book.files, "count.size": h.book.size,
		"pull.desk": "d", "mark.green": "g", "return.to": "Robin",
		"close.tapes": strconv.Itoa(h.tapes), "close.book": strconv.Itoa(h.lines), "close.open": "o", "close.written": "w", "close.code": h.book.code,
	}
	if a, ok := fixed[id]; ok {
		return a, true
	}
	switch {
	case id == "setup.camera" && len(h.cameras) == 0:
		return "", true
	case id == "setup.camera":
		a := h.cameras[0]
		h.cameras = h.cameras[1:]
		return a, true
	case id == "receive.label" && len(h.brought) > 0:
		return h.brought[0][1], true
	case id == "receive.from" && len(h.brought) > 0:
		a := h.brought[0][0]
		h.brought = h.brought[1:]
		return a, true
	case strings.HasPrefix(id, "pick.") && h.front != nil:
		return h.front[map[string]int{"pick.card": 0, "pick.tape": 1}[id]], true
	case id == "bin.green" && h.front != nil:
		h.green = append(h.green, h.front[1])
		return "i", true
	case id == "return.which" && len(h.green) > 0:
		a := h.green[0]
		h.green = h.green[1:]
		return a, true
	case id == "close.done" && !strings.Contains(question, "c = "): // something is open
		return "o", true
	case id == "close.done":
		return "c", true
	case id == "next":
		return h.next(question), true
	case strings.HasPrefix(id, "look."):
		return h.look(tb, strings.TrimPrefix(id, "look."), question), true
	}
	return "", false
}

// next takes in what was brought, then empties the red bin, then the green one.
func (h *hands) next(question string) string {
	switch {
	case len(h.brought) > 0:
		return "a"
	case strings.Contains(question, "p = "):
		return "p"
	case strings.Contains(question, "r = "):
		return "r"
	}
	return "c"
}

// look opens the simulated drive's folder, as somebody with a file browser would.
func (h *hands) look(tb testing.TB, drive, question string) string {
	tb.Helper()
	where := regexp.MustCompile(`Open (\S+)\. `).FindStringSubmatch(question)
	if where == nil {
		tb.Errorf("another kind of question: %s", question)
		return "?"
	}
	names, err := filepath.Glob(filepath.Join(h.sandbox, "drives", drive, "*", "*", "*", where[1], "[^.]*.*"))
	if err != nil || len(names) == 0 {
		tb.Errorf("look on %s at %s: %v", drive, where[1], err)
		return "?"
	}
	m := dotsRE.FindStringSubmatch(question)
	for _, n := range names {
		if n = filepath.Base(n); m != nil && strings.HasPrefix(n, m[1]) && strings.HasSuffix(n, m[3]) {
			return n[len(m[1]) : len(n)-len(m[3])]
		}
	}
	if !strings.Contains(question, "How many files") {
		tb.Errorf("another kind of question: %s", question)
	}
	return strconv.Itoa(len(names))
}
