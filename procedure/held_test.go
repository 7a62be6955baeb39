package procedure_test

import (
	"testing"
	"time"
	"twobin/procedure"
)

// With several rolls on hold the operator says which is taken up: one may wait for an answer from set while another can
// go on. Any other label takes up nothing.
func TestAnyRollOnHoldIsTakenUp(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.receive("B001")
	r.out.await(t, "[next]")
	r.say("hold A001 what camera is it?", "hold B001 no case")
	r.ask("next", "h")
	r.ask("held.which", "B002")
	r.out.await(t, "B002 is not on hold")
	r.ask("next", "h")
	r.ask("held.which", "B001")
	r.ask("pick.card", "B001")
	r.ask("pick.tape", "B001")
	r.out.await(t, "[seat.tape]")
	if s := r.runner.Shift(); s.Roll("A001").Held == nil || s.Roll("B001").Held != nil {
		t.Errorf("on hold: A001 %v, B001 %v, want A001 only", s.Roll("A001").Held, s.Roll("B001").Held)
	}
}

// A label that another station took in meanwhile is refused like any that was used; another one comes in.
func TestLabelTakenAtAnotherStation(t *testing.T) {
	t.Parallel()
	r := newRig(t).start(func(c *procedure.Config) {
		c.Elsewhere = func(o procedure.ShiftOpened, since time.Time) []procedure.Label {
			if o.Production == "" || since.IsZero() {
				t.Errorf("asked for %+v since %v", o, since)
			}
			return []procedure.Label{"A001"}
		}
	}).setUp()
	r.ask("next", "arrived A001")
	r.out.await(t, "A001 was taken in at another station")
	r.receive("A002")
	r.out.await(t, "[next]")
	if s := r.runner.Shift(); s.Roll("A001") != nil || s.Roll("A002") == nil {
		t.Error("A001 was taken in, or A002 was not")
	}
}
