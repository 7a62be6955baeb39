package procedure

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"twobin/guard"
)

// Further is a proven copy of a roll that another process of this program made from one of its copies, and leaves to the
// shift that is at work. Proof is the SHA-256 of that copy's own proof file. Shift says whose it is ([ShiftOpened.Key]), ID
// names it on its shelf.
type Further struct {
	ID    string `json:"-"`
	Shift string `json:"shift"`
	Roll  Label  `json:"roll"`
	Proof string `json:"proof"`
}

// Key tells a shift from those of other productions, days and stations.
func (o *ShiftOpened) Key() string {
	return strings.Join([]string{o.Production, strconv.Itoa(o.Day), o.Date, o.Station}, "\n")
}

// Shelf holds further copies until the shift takes them. Both methods may be called at any time; what cannot be read is
// left there.
type Shelf interface {
	List() []Further
	Done(id string) error
}

// Join adds to a roll's proof the proven copies of a further one of the same files, and names them; old stays as it is.
// Times are not compared: some volumes keep them coarser than the card. why says why nothing was added; it is empty, with
// nothing added, when old has these very copies already.
func Join(old, further *guard.Proof) (joined *guard.Proof, added []CopyNote, why string) {
	if !slices.EqualFunc(old.Files, further.Files, func(a, b guard.File) bool {
		return a.Path == b.Path && a.Size == b.Size && a.Hash == b.Hash
	}) {
		return nil, nil, "its files are not exactly those that were proven for the roll"
	}
	p := *old
	p.Copies = slices.Clone(old.Copies)
	for i := range further.Copies {
		c := further.Copies[i]
		switch {
		case c.Volume.Simulated != old.Card.Simulated:
			why = "one of the two is a drill's"
		case !further.Proven(&c):
			why = "the copy on " + Plain(c.Name) + " is not proven"
		case slices.ContainsFunc(p.Copies, func(o guard.Copy) bool {
			return o.Name == c.Name && o.Folder == c.Folder && o.Volume.ID == c.Volume.ID && c.Volume.ID != ""
		}): // counted before
		case slices.ContainsFunc(p.Copies, func(o guard.Copy) bool { return o.Name == c.Name }):
			why = "the roll has a copy on a drive called " + Plain(c.Name) + " already"
		case slices.ContainsFunc(p.Copies, func(o guard.Copy) bool { return c.Volume.ID != "" && o.Volume.ID == c.Volume.ID && p.Proven(&o) }):
			why = "the drive that carries " + Plain(c.Name) + " has a copy of the roll that counts already"
		case c.Volume.SharesDisk(old.Card):
			why = Plain(c.Name) + " is on the card's own device"
		default:
			p.Copies = append(p.Copies, c)
			added = append(added, CopyNote{Name: c.Name, Path: c.Path, Folder: c.Folder, Proven: true, Honesty: c.Honesty.String()})
		}
	}
	if len(added) == 0 {
		return old, nil, why
	}
	return &p, added, ""
}

// furtherEvery is how often the shelf is looked at.
const furtherEvery = 2 * time.Second

// furtherWork begins to take a further copy from the shelf, unless the hands are in a critical step, at the close, or
// other work of the machine is under way: then it waits.
func (r *Runner) furtherWork() {
	now := r.cfg.Now()
	if r.cfg.Shelf == nil || now.Sub(r.shelved) < furtherEvery {
		return
	}
	r.shelved = now
	s := r.shift
	if r.job != nil || r.book == nil || r.broken != nil || r.ended || !r.away.IsZero() || !s.Ready || s.Closing || s.Closed || r.inCritical() != nil {
		return
	}
	for _, f := range r.cfg.Shelf.List() {
		if f.Shift != s.Opened.Key() {
			continue // another shift's
		}
		if roll := s.Roll(f.Roll); roll != nil && roll.Copy != CopyIsProven && !roll.Erased {
			continue // its copy is not proven yet, or again: later
		}
		r.takeFurther(f)
		return
	}
}

func (r *Runner) takeFurther(f Further) {
	old, media := r.proofs[f.Roll], r.cfg.Media
	roll := r.shift.Roll(f.Roll)
	if old == nil || roll == nil || roll.Erased || roll.Partly {
		r.refuseFurther(f, "the roll has no proven copy in this shift, or was erased")
		return
	}
	base := roll.Proof
	var sha, why string
	var added []CopyNote
	r.work("taking in a further copy of "+string(f.Roll), func(context.Context) {
		further, err := media.Load(f.Proof)
		if err != nil {
			why = "its proof cannot be read: " + Plain(err.Error())
			return
		}
		var joined *guard.Proof
		if joined, added, why = Join(old, further); why != "" || len(added) == 0 {
			return
		}
		if sha, err = media.Save(joined); err != nil {
			why = "the joined proof cannot be kept: " + Plain(err.Error())
		}
	}, func() {
		switch now := r.shift.Roll(f.Roll); {
		case why != "":
			r.refuseFurther(f, why)
		case len(added) == 0: // counted before a crash
			r.dropFurther(f)
		case r.inCritical() != nil || now.Proof != base || r.shift.Closing:
			// something came in between: the next look at the shelf tries again
		case r.record(f.Roll, CopyAdded{Proof: sha, Copies: added}) == nil:
			r.remember(f.Roll, sha)
			r.dropFurther(f)
			r.notify(Notice{Grade: "info", What: fmt.Sprintf("%s: a further proven copy counts, on %s.", f.Roll, Plain(added[0].Name)),
				Do: "look at it there before the erase."})
		}
	})
}

// refuseFurther says why a copy does not count; it stays where it is, and proven for itself.
func (r *Runner) refuseFurther(f Further, why string) {
	r.dropFurther(f)
	r.notify(Notice{Grade: "look", What: fmt.Sprintf("A further copy of %s does not count here: %s.", f.Roll, why),
		Safe: "it is proven for itself; the lock goes by the others.", lasting: true})
}

func (r *Runner) dropFurther(f Further) {
	if err := r.cfg.Shelf.Done(f.ID); err != nil {
		r.cfg.Log.Warn("further copy", "id", f.ID, "err", err)
	}
}
