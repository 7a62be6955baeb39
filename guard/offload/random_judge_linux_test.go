package offload

import (
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// good says whether a copy is as good as it can be: proven, or on exFAT whole.
func (b *mounts) good(p *guard.Proof, i int, kind string) bool {
	c := &p.Copies[i]
	if i == 1 && !b.onCard && kind == kindExfat {
		if p.Proven(c) {
			b.t.Errorf("FALSE PROOF: %s is proven, although nothing can be read past its cache", c.Name)
		}
		return c.Fault == "" && len(c.Back) == len(p.Files)
	}
	return p.Proven(c)
}

// one plays one fault in one small copy between real volumes and judges what came of it. False: it did not happen.
func (b *mounts) one(number uint64) bool {
	f, kind, reread := b.draw(number)
	v := b.fresh(kind)
	p, errs := b.play(f, v, reread)
	if f.missed(b.t) {
		b.finish(f, v)
		return false
	}
	f.taken = v.taken
	b.faults[f.on+": "+f.name]++
	if failing := f.act == actGone || f.act == actError && f.spoil.Lasting; !failing || number%2 == 0 {
		b.store.order(spoil{}) // else it does not come back for the unmounting either
	}
	good := 0
	for i := range p.Copies {
		ok := b.good(&p, i, kind)
		if ok {
			good++
		} else if !b.onCard && i == 0 {
			b.t.Errorf("%v: the other drive suffered: %v", f, errs)
		}
		b.look(f, b.drives[i], i, ok, "right after")
	}
	switch {
	case good < 2 && len(errs) == 0:
		b.t.Errorf("%v: %d copies are good, and nothing is reported", f, good)
	case good == 2 && len(errs) == 0:
		b.harmless++
	}
	if f.name == "the card changed" && good > 0 && b.changed() {
		b.t.Errorf("%v: the card changed, %d copies are proven; %v", f, good, errs)
	}
	if !v.detach() {
		b.held++
	} else if f.name != "the card changed" {
		b.afterwards(f, v, b.good(&p, 1, kind))
	}
	b.finish(f, v)
	return true
}

// afterwards mounts the spoiled volume afresh, without the fault, as on the next day.
func (b *mounts) afterwards(f *realFault, v *volume, wasGood bool) {
	b.store.order(spoil{})
	v.attach(v.img, 0)
	if b.onCard {
		if lacking := allThere(v.at); len(lacking) > 0 {
			b.t.Errorf("%v: the card lacks %q", f, lacking)
		}
		return
	}
	b.look(f, v.at, 1, wasGood, "mounted afresh")
	if f.act != actError && f.act != actGone && f.name != "unmounted" && f.name != "shut down" {
		return
	}
	b.retried++
	p, errs := Run(b.t.Context(), b.job(false, 30*time.Second), nil)
	good := b.good(&p, 1, v.kind)
	if good {
		b.proven++
	} else {
		b.t.Errorf("%v: with the fault gone, the next run gives %v", f, errs)
	}
	b.look(f, v.at, 1, good, "after the next run")
}

// look wants the right files on a drive: all of them on a good one, no wrong and no foreign one in any case.
func (b *mounts) look(f *realFault, at string, i int, good bool, when string) {
	away := when == "right after" && (f.name == "unmounted" || f.name == "shut down" || f.act == actGone || f.spoil.Lasting)
	if good && !(away && i == 1) {
		if lacking := allThere(at + "/roll"); len(lacking) > 0 {
			b.t.Errorf("FALSE PROOF: %v: %s of DRIVE%d lacks %q or has other bytes", f, when, i+1, lacking)
		}
	}
	wrong, foreign := lookOver(at)
	if i == 1 && f.taken != "" {
		got, err := os.ReadFile(filepath.Join(at, f.taken))
		if err != nil || string(got) != strangers {
			b.t.Errorf("%v: %s, the stranger's %s is %d bytes, %v", f, when, f.taken, len(got), err)
		}
		wrong = slices.DeleteFunc(wrong, func(name string) bool { return "roll/"+name == f.taken })
	}
	if len(wrong) > 0 && (!f.lies && !f.rewrites || good) || len(foreign) > 0 {
		b.t.Errorf("%v: %s, DRIVE%d has other bytes than the card's under %q, and %q from nowhere", f, when, i+1, wrong, foreign)
	}
	if st := (unix.Stat_t{}); f.name == "unmounted" && !b.onCard && i == 1 && when == "right after" && unix.Stat(at+"/roll", &st) == nil {
		b.t.Errorf("%v: something was written into the folder of the system disk", f)
	}
}
