package procedure_test

import (
	"path/filepath"
	"strings"
	"testing"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/media"
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
		says string
	}{
		{"not there after a new start", func(r *rig) { r.gone["shuttle"] = true; r.stop(); r.start() }, false, "SHUTTLE is no longer there."},
		{"there after a new start", func(r *rig) { r.stop(); r.start() }, true, "SHUTTLE is back."},
		{"arrives", func(r *rig) { come(r, "sim:shuttle", "-") }, true, "SHUTTLE is back."},
		{"another drive arrives", func(r *rig) { come(r, "sim:other", "-") }, false, "Another drive than SHUTTLE is mounted at "},
		{"slow to say who it is", func(r *rig) { come(r, "", "sim:shuttle") }, true, "SHUTTLE is back."},
		{"slow, and another", func(r *rig) { come(r, "", "sim:other") }, false, "Another drive than SHUTTLE is mounted at "},
	} {
		r := newRig(t).start().setUp()
		v := r.volume("shuttle")
		r.vols <- procedure.VolumeChange{Gone: []guard.Volume{v}}
		r.out.await(t, "SHUTTLE is no longer there")
		c.do(r)
		r.out.await(t, c.says)
		r.vols <- procedure.VolumeChange{} // taken when those before are done with
		if gone := r.runner.Shift().GoneDests["SHUTTLE"]; gone == c.back {
			t.Errorf("%s: gone %t", c.name, gone)
		}
		r.stop()
	}
}

// What says that a drive is missing goes when the drive is back.
func TestAMissingDriveIsNotSaidOfOneThatIsBack(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	at := filepath.Join(r.dir, "shuttle")
	v, err := r.Identify(at)
	if err != nil {
		t.Fatal(err)
	}
	r.vols <- procedure.VolumeChange{Gone: []guard.Volume{v}}
	r.out.await(t, "SHUTTLE is no longer there.")
	v.Mount = filepath.Join(r.dir, "third")
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}}
	r.out.await(t, "SHUTTLE is back, but at another place: ")
	v.Mount = at
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}}
	r.out.await(t, "SHUTTLE is back.")
	for _, n := range r.runner.View().Notices {
		if strings.Contains(n.What, "no longer") || strings.Contains(n.What, "another place") {
			t.Errorf("still said: %s", n.What)
		}
	}
}

// A destination that is not there when the program is started again is told at once, not at the next copy; one that does
// not answer is left as it was, and another drive at its place is not it.
func TestADestinationIsMissedAtANewStart(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		v    guard.Volume
		err  error
		gone bool
	}{
		{name: "there", v: guard.Volume{ID: "sim:shuttle"}},
		{name: "not mounted", err: &guard.Error{Kind: guard.KindGone}, gone: true},
		{name: "another drive", v: guard.Volume{ID: "sim:other"}, gone: true},
		{name: "silent", err: &guard.Error{Kind: guard.KindStalled}},
		{name: "slow to say who it is"},
	} {
		r := newRig(t).start().setUp()
		r.stop()
		r.media = media.New(media.Options{Ident: answersFor{r, "shuttle", c.v, c.err}, Proofs: filepath.Join(r.dir, "home/proofs"), Policy: guard.DefaultPolicy(), Now: r.clock.now})
		r.start()
		r.out.await(t, "[next] ")
		if gone := r.runner.Shift().GoneDests["SHUTTLE"]; gone != c.gone {
			t.Errorf("%s: gone %t", c.name, gone)
		}
		if told := strings.Contains(r.out.text(), "SHUTTLE is no longer there."); told != c.gone {
			t.Errorf("%s: told %t", c.name, told)
		}
		r.stop()
		r.start() // what was missing then is told once more
		r.out.await(t, "[next] ")
		if told := strings.Contains(r.out.text(), "SHUTTLE is no longer there."); told != c.gone {
			t.Errorf("%s: told %t the second time", c.name, told)
		}
		r.stop()
	}
}

// answersFor answers for one folder of a rig in its own way.
type answersFor struct {
	*rig
	name string
	v    guard.Volume
	err  error
}

func (a answersFor) Identify(path string) (guard.Volume, error) {
	if filepath.Base(path) == a.name {
		return a.v, a.err
	}
	return a.rig.Identify(path)
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
