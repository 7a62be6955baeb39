package procedure_test

import (
	"path/filepath"
	"testing"

	"twobin/guard"
	"twobin/procedure"
)

// A destination that comes back while the program does not run is in use again when it does; so is one whose drive is slow to
// say who it is.
func TestADestinationIsBackHoweverItComes(t *testing.T) {
	t.Parallel()
	come := func(r *rig, arrived, answered string) {
		at := filepath.Join(r.dir, "shuttle")
		as := func(id string) []guard.Volume {
			if id == "-" {
				return nil
			}
			return []guard.Volume{{Mount: at, ID: id, Simulated: true}}
		}
		r.vols <- procedure.VolumeChange{Arrived: as(arrived), Answered: as(answered)}
	}
	for _, c := range []struct {
		name string
		do   func(r *rig)
		back bool
	}{
		{"not there after a new start", func(r *rig) { r.gone["shuttle"] = true; r.stop(); r.start() }, false},
		{"there after a new start", func(r *rig) { r.stop(); r.start() }, true},
		{"arrives", func(r *rig) { come(r, "sim:shuttle", "-") }, true},
		{"another drive arrives", func(r *rig) { come(r, "sim:other", "-") }, false},
		{"slow to say who it is", func(r *rig) { come(r, "", "sim:shuttle") }, true},
		{"slow, and another", func(r *rig) { come(r, "", "sim:other") }, false},
	} {
		r := newRig(t).start().setUp()
		v, err := r.Identify(filepath.Join(r.dir, "shuttle"))
		if err != nil {
			t.Fatal(err)
		}
		r.vols <- procedure.VolumeChange{Gone: []guard.Volume{v}}
		r.out.await(t, "SHUTTLE is no longer there")
		c.do(r)
		if c.back {
			r.out.await(t, "SHUTTLE is back.")
		}
		r.vols <- procedure.VolumeChange{} // taken when those before are done with
		if gone := r.runner.Shift().GoneDests["SHUTTLE"]; gone == c.back {
			t.Errorf("%s: gone %t", c.name, gone)
		}
		r.stop()
	}
}

// Who takes over again after another began to look on the drives has to look at those anew, and can.
func TestTheLookIsRepeatedByWhoComesBack(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	r.say("operator Robin")
	r.ask("next", "e")
	r.say(r.answerOf(r.out.await(t, "[look.RAID]")))
	r.out.await(t, "[look.SHUTTLE]")
	r.say("put back")
	r.out.await(t, "A001 is put back")
	r.say("operator Kim")
	r.ask("next", "e")
	r.say(r.answerOf(r.out.await(t, "[look.RAID]")))
	r.out.await(t, "waiting for the card")
	r.seat("A001")
	r.ask("reseat.in", "i")
	r.out.await(t, "L1 holds")
	r.out.await(t, "[erase.label]")
}
