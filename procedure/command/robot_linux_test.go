package command_test

import (
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// robot works a shift of one roll by answering whatever is asked, as an operator does who knows the routine. It can be
// interrupted at any moment by killing the program, and goes on with a new one.
type robot struct {
	*station
	done bool // the shift is closed
	code string
	ack  *acknowledged // what this run of the program vouched for
}

// cardOut takes the card out of the reader, whatever the program does.
func (r *robot) cardOut() {
	if r.card.mounted {
		deadline := time.Now().Add(10 * time.Second)
		for exec.Command("umount", r.card.at).Run() != nil {
			if time.Now().After(deadline) {
				r.tb.Fatal("the card cannot be unmounted")
			}
			time.Sleep(20 * time.Millisecond) // a scan or copy that was killed lets go soon
		}
		r.card.mounted = false
	}
}

// answer gives the answer to one line of output; ok is false where the line asks nothing.
func (r *robot) answer(l string) (string, bool) {
	id := promptID(l)
	switch {
	case id == "":
		return "", false
	case id == "setup.camera":
		return map[bool]string{true: "A blue", false: ""}[strings.Contains(l, "] A camera")], true
	case id == "next":
		return r.next(), true
	case id == "return.to":
		r.cardOut()
		r.p.awaitSoon("reader: card out")
		return "Robin", true
	case strings.HasPrefix(id, "look."):
		m := sighted.FindStringSubmatch(l)
		drive := map[string]*disk{"RAID": r.raid, "SHUTTLE": r.shuttle}[m[1]]
		found, err := filepath.Glob(filepath.Join(drive.at, "*/*/A", m[2], strings.Replace(m[3], "····", "????", 1)))
		if err != nil || len(found) != 1 {
			r.tb.Fatalf("%v: %v %v", m, found, err)
		}
		head, _, _ := strings.Cut(m[3], "····")
		return filepath.Base(found[0])[len(head) : len(head)+4], true
	case id == "pull.desk":
		r.cardOut()
		r.p.awaitSoon("reader: card out")
		return "d", true
	case id == "reseat.look":
		r.cardOut()
		return "put back", true
	case id == "close.copies": // a busy machine may not see a drive in time; what stays amiss never ends
		all := r.p.text()
		r.tb.Logf("looks again at the copies:\n%s", all[max(0, len(all)-1500):])
		return "l", true
	case id == "close.code":
		r.done = true
		return r.code, true
	}
	fixed := map[string]string{
		"setup.marking": "red tape", "setup.kit": "k", "setup.bins": "b", "setup.done": "s", "setup.to": "", "receive.from": "Robin", "receive.bin": "b",
		"pick.card": "A001", "pick.tape": "A001", "seat.tape": "t", "start.go": "s", "log.serial": "S-1", "log.notes": "",
		"count.written": "w", "count.files": "4", "count.size": "14.7", "mark.green": "g", "bin.green": "i", "reseat.in": "i",
		"erase.label": "erase A001", "close.tapes": "1", "close.book": "1", "close.done": "c", "close.written": "w",
	}
	a, ok := fixed[id]
	if !ok {
		r.tb.Fatalf("no answer for %q", l)
	}
	return a, true
}

// next decides from the journal, as the operator does from the desk.
func (r *robot) next() string {
	s := r.shift()
	roll := s.Roll("A001")
	switch {
	case roll == nil:
		return "arrived A001"
	case roll.Place == procedure.PlaceRedBin:
		r.cardOut()
		return "p"
	case roll.Place == procedure.PlaceGreenBin && (roll.Partly || roll.Erased):
		r.cardOut()
		return "r"
	case roll.Place == procedure.PlaceGreenBin:
		r.cardOut()
		return "e"
	}
	return "c"
}

func (r *robot) path() string {
	m, err := filepath.Glob(filepath.Join(r.home, "journals", "*.jsonl"))
	if err != nil || len(m) != 1 {
		r.tb.Fatalf("journals: %v %v", m, err)
	}
	return m[0]
}

func (r *robot) shift() *procedure.Shift {
	ls, _, err := journal.ReadFile(r.path())
	if err != nil {
		r.tb.Fatal(err)
	}
	s, _, err := procedure.Fold(ls)
	if err != nil {
		r.tb.Fatalf("fold: %v", err)
	}
	return s
}

// work answers until the shift is closed, or the time is up, or a while after so many lines of output, then kills the
// program; without a while right at that line, whatever it asks. It says whether it was killed. What it answered and heard stands in ack, also what was still in the pipe.
func (r *robot) work(limit time.Duration, lines int, while time.Duration) bool {
	r.ack = &acknowledged{}
	end := time.After(limit)
	for n := 0; !r.done; n++ {
		if n == lines {
			end = time.After(while)
		}
		l, ok := r.p.nextLine(end)
		if ok {
			r.hear(l)
		}
		if !ok || n+1 == lines && while == 0 {
			_ = r.p.cmd.Process.Kill()
			<-r.p.done
			r.drain()
			return true
		}
		if strings.Contains(l, "waiting for the card") && !r.card.mounted {
			r.card.mount()
		}
		if a, ok := r.answer(l); ok {
			r.ack.answer(promptID(l), a)
			r.p.say(a)
		}
	}
	return false
}

func (r *robot) hear(l string) {
	r.ack.hear(l)
	if _, code, ok := strings.Cut(l, "Closing code: "); ok {
		r.code = code
	}
}

// drain hears what a program that has ended had still said.
func (r *robot) drain() {
	r.p.mu.Lock()
	left := r.p.all[r.p.seen:]
	r.p.seen = len(r.p.all)
	r.p.mu.Unlock()
	for _, l := range left {
		r.hear(l)
	}
}

// promptID is what stands in a prompt's brackets, empty for a line that asks nothing.
func promptID(l string) string {
	id, _, ok := strings.Cut(strings.TrimPrefix(l, "["), "] ")
	if !strings.HasPrefix(l, "[") || !ok {
		return ""
	}
	return id
}

// nextLine gives the next line of output, or false when time is up or the program ended.
func (p *proc) nextLine(end <-chan time.Time) (string, bool) {
	for {
		p.mu.Lock()
		if p.seen < len(p.all) {
			l := p.all[p.seen]
			p.seen++
			p.mu.Unlock()
			return l, true
		}
		more := p.more
		p.mu.Unlock()
		select {
		case <-more:
		case <-end:
			return "", false
		}
	}
}

// awaitSoon waits for a line that may not come (it was printed before), without failing.
func (p *proc) awaitSoon(want string) {
	end := time.After(time.Second)
	for {
		p.mu.Lock()
		for i := max(0, p.seen-3); i < len(p.all); i++ {
			if strings.Contains(p.all[i], want) {
				p.mu.Unlock()
				return
			}
		}
		more := p.more
		p.mu.Unlock()
		select {
		case <-more:
		case <-end:
			return
		}
	}
}
