package procedure_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
)

// slowTwins is a finder that answers when the test lets it.
type slowTwins struct {
	asked  chan bool // whether the hashes are known
	answer chan []procedure.Twin
}

func (s *slowTwins) find(ctx context.Context, _ *procedure.Shift, _ procedure.Label, _ guard.Listing, p *guard.Proof) []procedure.Twin {
	select {
	case s.asked <- p != nil:
	case <-ctx.Done():
		return nil
	}
	select {
	case ts := <-s.answer:
		return ts
	case <-ctx.Done():
		return nil
	}
}

func twin(of procedure.Label) []procedure.Twin {
	return []procedure.Twin{{Of: of, Text: "clips as on " + string(of) + "?"}}
}

// proven waits until the copy of a roll is proven.
func (r *rig) proven(l procedure.Label) {
	r.tb.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	for seen := uint64(0); r.runner.Shift().Roll(l).Copy != procedure.CopyIsProven; {
		var err error
		if seen, err = r.runner.Wait(ctx, seen); err != nil {
			r.tb.Fatalf("%s is not proven:\n%s", l, r.out.text())
		}
	}
}

// TestTwinsNeverHoldUp: a finder that does not answer holds up nothing, neither the steps nor the end of the program.
// What comes at the count is asked once for each roll; what comes from the look on is not asked any more.
func TestTwinsNeverHoldUp(t *testing.T) {
	t.Parallel()
	s := &slowTwins{asked: make(chan bool), answer: make(chan []procedure.Twin)}
	r := newRig(t)
	r.card("A001", clips("A001"))
	r.start(func(c *procedure.Config) { c.Twins = s.find }).setUp()
	r.receive("A001")
	r.toStart("A001")
	r.say("s")
	r.ask("log.serial", "S-0117")
	r.proven("A001") // while the step is log nothing is asked
	select {
	case <-s.asked:
		t.Fatal("asked before the count")
	default:
	}
	r.ask("log.notes", "")
	if !<-s.asked {
		t.Error("the hashes are known, and it was asked without them")
	}
	s.answer <- append(twin("A091"), twin("A092")...)
	r.out.await(t, "Ask the camera department: clips as on A091? The log sheet asks about 1 more roll.")
	r.ask("count.written", "w")
	r.ask("count.files", "4")
	r.ask("count.size", "2.1 MB")
	r.out.await(t, "[pull.desk]")
	r.runner.AskTwinsAgain("A001")
	<-s.asked
	s.answer <- twin("A092")
	r.runner.AskTwinsAgain("A001")
	<-s.asked // left without an answer until the look
	r.pull("A001")
	r.out.await(t, "reader: card out")
	r.say("d")
	q := r.out.await(t, "[look.")
	s.answer <- twin("A093")
	r.say(r.answerOf(q))
	r.say(r.answerOf(r.out.await(t, "[look.")))
	r.out.await(t, "[mark.green]")
	r.runner.AskTwinsAgain("A001")
	<-s.asked // never answered: the program ends all the same
	r.stop()
	for _, never := range []string{"clips as on A092", "clips as on A093"} {
		if strings.Contains(r.out.text(), never) {
			t.Errorf("%q is shown:\n%s", never, r.out.text())
		}
	}
}
