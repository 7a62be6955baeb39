package command_test

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// killed counts what a test with kills has done.
type killed struct {
	rng         *rand.Rand
	want        int
	kills       int
	shifts      int
	vouched     int       // events that the program vouched for, found again
	end         time.Time // of all
	withoutKill outcome
}

// Invariant 8, with the real program: killed at random moments of a whole shift and started again, no line of the journal
// that was there is lost, and none that the killed run vouched for by what it said; the journal is whole, the roll is due
// where the design says, and the end is the same as that of a shift without a kill. TWOBIN_KILLS sets how many kills
// (default 12).
func TestInvariant8KilledAtAnyMoment(t *testing.T) {
	k := &killed{want: 12}
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_KILLS")); err == nil {
		k.want = n
	}
	k.end = time.Now().Add(2*time.Minute + time.Duration(k.want)*5*time.Second)
	k.rng = rand.New(rand.NewPCG(uint64(k.want), 5))
	k.withoutKill = k.play(t, 0)
	if k.kills > 0 || len(k.withoutKill.Proof) != len(cardFiles) || !k.withoutKill.Closed || k.withoutKill.Places["A001"] != procedure.PlaceReturned.String() {
		t.Fatalf("the shift without a kill: %+v", k.withoutKill)
	}
	for k.kills < k.want {
		k.shifts++
		if diff := cmp.Diff(k.withoutKill, k.play(t, k.want-k.kills)); diff != "" {
			t.Fatalf("without a kill (-), after kills (+), shift %d:\n%s", k.shifts, diff)
		}
	}
	t.Logf("figure: kills = %d", k.kills)
	t.Logf("figure: whole shifts under kills = %d", k.shifts)
	t.Logf("figure: events vouched for before a kill or an end, found again = %d", k.vouched)
}

// play works a whole shift with up to so many kills, and gives its end.
func (k *killed) play(t *testing.T, most int) outcome {
	t.Helper()
	r := &robot{station: newStation(t)}
	r.dateCard()
	for most += k.kills; !r.done; r.cardOut() {
		if time.Now().After(k.end) {
			t.Fatalf("%d kills, and no end:\n%s", k.kills, r.p.text())
		}
		k.run(t, r, k.kills < most)
	}
	if out := r.outcome(t); !t.Failed() {
		r.cardLeft(t)
		r.xxhsum(t)
		r.raid.umount()
		r.shuttle.umount()
		return out
	}
	t.FailNow()
	return outcome{}
}

// run starts the program, works until it is killed or the shift is closed, and looks at the journal.
func (k *killed) run(t *testing.T, r *robot, kill bool) {
	t.Helper()
	before := journalLines(t, r.home)
	r.begin()
	limit, lines, while := 90*time.Second, -1, time.Duration(0)
	switch at := k.rng.IntN(3); { // by time, mostly early in a run; and by lines, so that every step of the routine is met
	case !kill:
	case at == 0:
		limit = time.Duration(10+k.rng.IntN(350)) * time.Millisecond
	case at == 1: // right at a line
		lines = 1 + k.rng.IntN(75)
	default:
		lines, while = 1+k.rng.IntN(60), time.Duration(k.rng.IntN(30_000))*time.Microsecond
	}
	if r.work(limit, lines, while) {
		k.kills++
	} else {
		if rc := r.p.exit(); rc != 0 {
			t.Errorf("exit code %d\n%s", rc, r.p.text())
		}
		r.drain()
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
	if err := r.ack.missing(after, len(before)); err != nil {
		t.Fatalf("%v. All output:\n%s", err, r.p.text())
	}
	k.vouched += len(r.ack.claims)
	if !kill && len(before) == 0 {
		lossesFound(t, r.ack, after)
	}
	if len(after) > 0 {
		checkDue(t, r.shift())
	}
}

// lossesFound shows that the check can fail: of a whole shift in one run, every event, and every answer, is missed when its
// line is taken out. Where a step was done again, on a slow machine, one of its lines may stand for another; and no line
// of output vouches for sure for what such a machine adds, or for a card that is gone and at once handed back.
func lossesFound(t *testing.T, a *acknowledged, lines []journal.Line) {
	t.Helper()
	found := map[string]bool{}
	for i, l := range lines {
		var d procedure.Answered
		if err := json.Unmarshal(l.Data, &d); err != nil {
			t.Fatal(err)
		}
		key := l.Event + " " + d.Prompt
		found[key] = a.missing(slices.Delete(slices.Clone(lines), i, i+1), 0) != nil || found[key]
	}
	unsure := []string{procedure.Refused{}.Name(), procedure.ClockJumped{}.Name(), procedure.TooLate{}.Name(), procedure.CardGone{}.Name()}
	for key, ok := range found {
		if event, _, _ := strings.Cut(key, " "); !ok && !slices.Contains(unsure, event) {
			t.Errorf("the loss of %s is not found", key)
		}
	}
	if len(found) < 40 {
		t.Errorf("a whole shift has %d kinds of lines", len(found))
	}
}

// xxhsum: a general tool accepts every copy by its list.
func (r *robot) xxhsum(t *testing.T) {
	t.Helper()
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
