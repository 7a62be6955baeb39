package command_test

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
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
	id, rest, ok := strings.Cut(strings.TrimPrefix(l, "["), "] ")
	if !strings.HasPrefix(l, "[") || !ok {
		return "", false
	}
	switch {
	case id == "setup.camera":
		return map[bool]string{true: "A blue", false: ""}[strings.HasPrefix(rest, "A camera")], true
	case id == "next":
		return r.next(rest), true
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
func (r *robot) next(string) string {
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
// program. It says whether it was killed.
func (r *robot) work(limit time.Duration, lines int, while time.Duration) bool {
	end := time.After(limit)
	for n := 0; !r.done; n++ {
		if n == lines {
			end = time.After(while)
		}
		l, ok := r.p.nextLine(end)
		if !ok {
			_ = r.p.cmd.Process.Kill()
			<-r.p.done
			return true
		}
		switch {
		case strings.Contains(l, "waiting for the card"):
			if !r.card.mounted {
				r.card.mount()
			}
			continue
		case strings.Contains(l, "Closing code: "):
			_, r.code, _ = strings.Cut(l, "Closing code: ")
			continue
		}
		if a, ok := r.answer(l); ok {
			r.p.say(a)
		}
	}
	return false
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

// Invariant 8, with the real program: killed at random moments of a whole shift and started again, no line of the journal
// that was there is lost, the journal is whole, the roll is due where the design says, and the end is the same as
// without a kill. TWOBIN_KILLS sets how many kills (default 12).
func TestInvariant8KilledAtAnyMoment(t *testing.T) {
	kills := 12
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_KILLS")); err == nil {
		kills = n
	}
	limitAll := time.Now().Add(2*time.Minute + time.Duration(kills)*5*time.Second)
	rng := rand.New(rand.NewPCG(uint64(kills), 5))
	done, shifts := 0, 0
	for done < kills {
		shifts++
		r := &robot{station: newStation(t)}
		for !r.done {
			if time.Now().After(limitAll) {
				t.Fatalf("%d kills, and no end:\n%s", done, r.p.text())
			}
			before := journalLines(t, r.home)
			r.begin()
			limit, lines, while := 40*time.Second, -1, time.Duration(0)
			switch { // by time, mostly early in a run; and by lines, so that every step of the routine is met
			case done >= kills:
			case rng.IntN(3) == 0:
				limit = time.Duration(10+rng.IntN(350)) * time.Millisecond
			default:
				lines, while = 1+rng.IntN(60), time.Duration(rng.IntN(30_000))*time.Microsecond
			}
			if r.work(limit, lines, while) {
				done++
			}
			after := journalLines(t, r.home)
			if len(after) < len(before) {
				t.Fatalf("the journal had %d lines, has %d", len(before), len(after))
			}
			for i := range before {
				if before[i].Sum != after[i].Sum {
					t.Fatalf("line %d changed", i+1)
				}
			}
			if len(after) > 0 {
				checkDue(t, r.shift())
			}
			r.cardOut()
		}
		if rc := r.p.exit(); rc != 0 {
			t.Errorf("exit code %d\n%s", rc, r.p.text())
		}
		s := r.shift()
		if roll := s.Roll("A001"); !s.Closed || len(s.OpenPoints) > 0 || roll.Place != procedure.PlaceReturned || !(roll.Erased || roll.Partly) {
			t.Errorf("closed %v, open points %v, A001 %+v", s.Closed, s.OpenPoints, roll)
		}
		for _, d := range []*disk{r.raid, r.shuttle} {
			list, err := filepath.Glob(filepath.Join(d.at, "*/*/A/A001.xxh64"))
			if err != nil || len(list) != 1 {
				t.Fatalf("checksum list: %v %v", list, err)
			}
			cmd := exec.Command("xxhsum", "-c", "A001.xxh64")
			cmd.Dir = filepath.Dir(list[0])
			if b, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("xxhsum -c: %v\n%s", err, b)
			}
		}
		r.raid.umount()
		r.shuttle.umount()
	}
	t.Logf("figure: kills = %d", done)
	t.Logf("figure: whole shifts under kills = %d", shifts)
}

// journalLines reads what is whole of the only journal; nil if there is none yet.
func journalLines(t *testing.T, home string) []journal.Line {
	t.Helper()
	m, err := filepath.Glob(filepath.Join(home, "journals", "*.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	if len(m) == 0 {
		return nil
	}
	ls, damage, err := journal.ReadFile(m[0])
	if err != nil || damage != nil && !damage.Torn {
		t.Fatalf("journal after a kill: %v %v", damage, err)
	}
	return ls
}

// checkDue: whatever the roll's state was, the fold of a new run puts it where the design says.
func checkDue(t *testing.T, s *procedure.Shift) {
	t.Helper()
	roll := s.Roll("A001")
	if roll == nil || s.Closed {
		return
	}
	before := *roll
	next := s.Clone()
	if err := next.Apply(procedure.Entry{At: procedure.Moment{Run: s.Run + 1}, Event: procedure.RunBegan{}}); err != nil {
		t.Fatal(err)
	}
	after := next.Roll("A001")
	inReader := before.Place == procedure.PlaceHand || before.Place == procedure.PlaceReader
	switch {
	case inReader && !before.Binned && (after.Step != procedure.StepPick || next.Red[0] != "A001" || after.Proof != ""):
		t.Errorf("was %v at %v, is %v at %v", before.Place, before.Step, after.Place, after.Step)
	case inReader && before.Binned && after.Place != procedure.PlaceGreenBin:
		t.Errorf("was %v at %v, is %v at %v", before.Place, before.Step, after.Place, after.Step)
	}
}
