package procedure

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
)

// watch hands every change of the volumes to the runner.
func (r *Runner) watch() {
	defer r.wg.Done()
	if r.cfg.Volumes == nil {
		return
	}
	for {
		select {
		case <-r.ctx.Done():
			return
		case c, ok := <-r.cfg.Volumes.Changes():
			if !ok {
				return
			}
			r.locked(func() {
				for _, v := range c.Gone {
					r.volumeGone(v)
				}
				for _, v := range c.Arrived {
					r.volumeCame(v)
				}
				for _, v := range c.Answered {
					if d := r.shift.destOf(v); !r.destCame(v) && d != nil && r.shift.uses(d.Name) && !r.shift.Closed {
						r.elsewhere(d, v)
					}
				}
			})
		}
	}
}

// locked runs f on the state and shows what became of it.
func (r *Runner) locked(f func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f()
	r.refresh()
}

// isCard: with a fixed reader only what appears there is a card; without one, anything that is no destination.
func (r *Runner) isCard(v guard.Volume) bool {
	if r.cfg.Reader != "" {
		return within(v.Mount, r.cfg.Reader)
	}
	return true
}

func (r *Runner) volumeGone(v guard.Volume) {
	s := r.shift
	if s.Opened == nil || s.Closed {
		return
	}
	if roll := s.InLane(r.lane); roll != nil && roll.Seated != nil && roll.Seated.Mount == v.Mount {
		r.cardGone(roll, v)
		return
	}
	for _, d := range s.Dests {
		if d.Volume.Mount == v.Mount && !s.GoneDests[d.Name] {
			r.destGone(d)
		}
	}
}

func (r *Runner) cardGone(roll *Roll, v guard.Volume) {
	step, running := roll.Step, roll.Copy == CopyRunning
	if err := r.record(roll.Label, CardGone{Volume: v}); err != nil {
		return
	}
	switch {
	case running:
		r.copyEnded(roll, guard.Proof{}, []*guard.Error{{Op: "copy", Item: "card", Kind: guard.KindGone}}, 0)
		r.stopJob(nil)
	case step == StepLog || step == StepCount:
		r.refusedAct(roll.Label, "pull", "the card came out before "+step.String()+" was done")
	case step == StepSeat || step == StepStart:
		r.stopJob(nil)
		r.notify(Notice{Grade: "look", What: "The card is no longer in the reader.", Safe: "nothing was copied.", Do: "seat it again, or put back."})
	case roll.Erasing:
		// The erase finds out by itself and says exactly what is gone; a plain reader folder that is emptied also
		// reports its card as gone.
	case step == StepReseat || step == StepErase:
		r.stopJob(nil)
		r.voidPermit()
		r.notify(Notice{Grade: "look", What: "The card is no longer in the reader.", Safe: "nothing was removed.", Do: "seat it again, or put back."})
	}
}

// refusedAct journals something done out of its order that no program can refuse.
func (r *Runner) refusedAct(l Label, asked, why string) {
	r.refused(l, &Refusal{Asked: asked, Roll: l, Due: r.shift.Rolls[l].Step, Why: why})
	r.notify(Notice{Grade: "look", What: sentence(why), Safe: "the card is copied as the journal says.", Do: "lay it on the desk; do the steps that are due."})
}

func (r *Runner) destGone(d Destination) {
	if err := r.record("", DestGone{Dest: d.Name}); err != nil {
		return
	}
	r.voidPermit()
	r.ring("fault")
	n := missingNotice(d)
	roll := r.shift.InLane(r.lane)
	if roll == nil || roll.Copy != CopyRunning {
		r.notify(n)
		return
	}
	left := 0
	for _, o := range r.shift.Dests {
		if !r.shift.GoneDests[o.Name] {
			left++
		}
	}
	if left < r.shift.limits().Destinations {
		r.copyEnded(roll, guard.Proof{}, []*guard.Error{{Op: "copy", Item: d.Name, Kind: guard.KindGone}}, 0)
		r.stopJob(nil)
		return
	}
	r.notify(n)
}

// missingNotice says that a destination is not at its place.
func missingNotice(d Destination) Notice {
	n := FaultNotice("", &guard.Error{Op: "watch", Item: d.Name, Kind: guard.KindGone})
	n.missing = d.Name
	n.What = Plain(d.Name) + " is no longer there."
	n.Safe = "the cards are whole; other drives keep what they hold."
	n.Do = "check cable and power. Without it no roll can be proven on " + Plain(d.Name) + "."
	return n
}

func (r *Runner) volumeCame(v guard.Volume) {
	s := r.shift
	if s.Opened == nil || s.Closed {
		return
	}
	if r.destCame(v) {
		return
	}
	roll, dest := s.InLane(r.lane), s.destOf(v)
	if roll != nil && (roll.Step == StepSeat || roll.Step == StepReseat) && roll.Seated == nil && r.isCard(v) && dest == nil {
		if err := r.record(roll.Label, CardSeated{Volume: v}); err != nil {
			return
		}
		if roll.Step == StepSeat {
			r.scan(roll, v)
		}
		return
	}
	if dest != nil && s.uses(dest.Name) {
		r.elsewhere(dest, v)
		return
	}
	if !s.Ready {
		return
	}
	if err := r.record(r.rollHere(), StrayVolume{Volume: v}); err != nil {
		return
	}
	r.voidPermit()
	name := v.Name
	if name == "" {
		name = filepath.Base(v.Mount)
	}
	r.notify(Notice{Grade: "look", What: fmt.Sprintf("A volume appeared that no step waits for: %s.", clip(name, 30)),
		Safe: "it was not touched.", Do: "if it is a card: take it out, tape back on, back into its bin."})
}

// destCame notes that a destination that had gone is there again, at its place.
func (r *Runner) destCame(v guard.Volume) bool {
	s := r.shift
	if s.Opened == nil || s.Closed {
		return false
	}
	for _, d := range s.Dests {
		if d.Volume.Mount == v.Mount && s.GoneDests[d.Name] && d.Volume.ID == v.ID {
			r.destBack(d)
			return true
		}
	}
	return false
}

func (r *Runner) destBack(d Destination) {
	if r.record("", DestBack{Dest: d.Name}) == nil { // a broken journal is told by record
		r.found(d.Name)
		r.notify(Notice{Grade: "info", What: Plain(d.Name) + " is back."})
	}
}

// found takes away what says that a destination is missing.
func (r *Runner) found(name string) {
	r.notices = slices.DeleteFunc(r.notices, func(n Notice) bool { return n.missing == name })
}

// destsHere looks, when the program is started again, which destinations have come back or gone meanwhile: what is mounted
// by then does not come, and what is not does not go. One that is silent is left as it was.
func (r *Runner) destsHere() {
	if r.shift.Closed {
		return
	}
	found := r.askDests(r.shift.Dests)
	for i, d := range slices.Clone(r.shift.Dests) {
		f, gone := found[i], r.shift.GoneDests[d.Name]
		ge := asGuard(f.err)
		switch here := f.err == nil && f.v.ID == d.Volume.ID && (f.v.ID != "" || f.v.Mount == d.Volume.Mount); {
		case here && gone:
			r.destBack(d)
		case !here && !gone && (f.err == nil && f.v.ID != "" || ge != nil && ge.Kind == guard.KindGone):
			r.destGone(d)
		case !here && gone:
			r.notify(missingNotice(d)) // it was told before, maybe to somebody else
		}
	}
}

// place is what a destination's place answered.
type place struct {
	v   guard.Volume
	err error
}

// askDests asks at the places of destinations who is there, all at once: several may sleep.
func (r *Runner) askDests(ds []Destination) []place {
	found := make([]place, len(ds))
	var asked sync.WaitGroup
	for i, d := range ds {
		asked.Go(func() { found[i].v, found[i].err = r.cfg.Media.Identify(d.Path) })
	}
	asked.Wait()
	return found
}

// elsewhere says that a drive that was missed is there again, but not at its place; and of a second volume with the identity of
// one that is there, while a card is waited for, that it is taken for none. Nor is another drive that stands at its place.
func (r *Runner) elsewhere(d *Destination, v guard.Volume) {
	gone := r.shift.GoneDests[d.Name]
	switch {
	case v.Mount == d.Volume.Mount && gone && v.ID != "":
		r.notify(Notice{Grade: "look", What: "Another drive than " + Plain(d.Name) + " is mounted at " + clip(v.Mount, 40) + ".", Safe: "it was not touched.",
			Do: "mount " + Plain(d.Name) + " there; or drop " + Plain(d.Name) + ", then take the other into use. If it is a card: unmount it, seat it again.", missing: d.Name})
		return
	case v.Mount == d.Volume.Mount:
		return
	case !gone:
		if roll := r.shift.InLane(r.lane); roll != nil && roll.Seated == nil && (roll.Step == StepSeat || roll.Step == StepReseat) && r.isCard(v) {
			r.notify(Notice{Grade: "look", What: fmt.Sprintf("What is mounted at %s has the identity of %s: it is taken for no card.", clip(v.Mount, 40), Plain(d.Name)),
				Safe: "it was not touched.", Do: "the drive at a second place, or a clone of it: unmount that. If it is the card: put back, hold the roll, ask."})
		}
		return
	}
	r.notify(Notice{Grade: "look", What: fmt.Sprintf("%s is back, but at another place: %s.", Plain(d.Name), clip(v.Mount, 40)), Safe: "it was not touched.",
		Do:      "mount it at " + clip(d.Volume.Mount, 40) + " as before; or drop " + Plain(d.Name) + ", then take it into use at its new place.",
		lasting: true, missing: d.Name})
}

// destOf is the destination that a volume carries or stands in for, also one that was dropped; nil for none. Its identity
// tells: a drive that fell out and came back has another device name and maybe another place, and is no card for that.
func (s *Shift) destOf(v guard.Volume) *Destination {
	for _, d := range slices.Concat(s.Dests, s.Dropped) {
		if d.Volume.ID == v.ID && (v.ID != "" || v.Disk != "" && d.Volume.Disk == v.Disk) {
			return &d
		}
	}
	for _, d := range s.Dests {
		if d.Volume.Mount == v.Mount {
			return &d
		}
	}
	return nil
}

// uses says whether a destination of that name is in use.
func (s *Shift) uses(name string) bool {
	_, used := s.Dest(name)
	return used
}

// work runs machine work aside; done is called with the state locked, unless the job was dropped meanwhile.
func (r *Runner) work(name string, f func(ctx context.Context), done func()) {
	ctx, cancel := context.WithCancel(r.ctx)
	j := &job{name: name, cancel: cancel}
	r.job = j
	r.working = name
	r.wg.Add(1)
	go func() {
		defer r.wg.Done()
		defer cancel()
		f(ctx)
		r.locked(func() {
			if r.job == j {
				r.job = nil
				r.working = ""
			}
			if !j.dropped && r.ctx.Err() == nil {
				done()
			}
		})
	}()
}

// stopJob drops the work under way: its result will not be used. It is gone only when its goroutine has ended.
func (r *Runner) stopJob(*guard.Error) {
	if r.job != nil {
		r.job.dropped = true
		r.job.cancel()
		r.working = "stopping"
	}
}

func (r *Runner) scan(roll *Roll, v guard.Volume) {
	l := roll.Label
	if r.job != nil {
		r.stopJob(nil)
	}
	var list guard.Listing
	var err error
	began := r.cfg.Now()
	r.work("reading the card", func(ctx context.Context) {
		if v.Simulated != (r.cfg.Drill != "") {
			err = &guard.Error{Op: "scan", Item: "card", Kind: guard.KindDenied, Err: errors.New("simulated and real media are never mixed")}
			return
		}
		if v.ID == "" { // it was reported before its drive answered
			if known, ierr := r.cfg.Media.Identify(v.Mount); ierr == nil && known.Mount == v.Mount {
				v = known
			}
		}
		list, err = r.cfg.Media.Scan(ctx, v)
	}, func() {
		roll := r.shift.Rolls[l]
		if roll.Seated == nil || roll.Step != StepSeat {
			return
		}
		if err != nil {
			ge := asGuard(err)
			if ge == nil {
				ge = &guard.Error{Op: "scan", Item: "card", Kind: guard.KindSourceRead, Err: err}
			}
			r.holdFault(l, ge)
			return
		}
		if d := r.shift.destOf(v); d != nil { // found out only now: its drive was slow to say who it is
			r.fail(l, "the volume in the reader is "+Plain(d.Name)+", a destination", "take the drive out; red tape on the card, back into the red bin.")
			return
		}
		r.card = v
		r.scanned(roll, v, list, r.cfg.Now().Sub(began))
	})
}

// scanned records what the card holds and finds what speaks against it: empty, exactly an earlier roll, old files.
func (r *Runner) scanned(roll *Roll, v guard.Volume, list guard.Listing, took time.Duration) {
	l := roll.Label
	ev := CardScanned{Files: len(list.Files), Bytes: list.Bytes(), Digest: digest(list), ScanMS: took.Milliseconds(), Odd: len(list.Odd)}
	count := map[Label]int{}
	for _, f := range list.Files {
		if o, ok := r.old[fileKey(f)]; ok && o != l {
			count[o]++
		}
	}
	for _, o := range r.shift.Order {
		if n := count[o]; n > 0 {
			ev.Earlier = append(ev.Earlier, Earlier{Roll: o, Files: n, All: n == len(list.Files)})
		}
		if other := r.shift.Rolls[o]; o != l && other.CardID != "" && other.CardID == v.ID {
			ev.Before = append(ev.Before, o)
		}
	}
	r.listing = list
	if err := r.record(l, ev); err != nil {
		return
	}
	switch held := copiesOn(list); {
	case held != "":
		r.fail(l, fmt.Sprintf("the volume in the reader holds a copy of %s: it is a drive, no card", held), "take the drive out; red tape on the card, back into the red bin.")
	case len(list.Odd) > 0:
		r.holdFault(l, &guard.Error{Op: "scan", Item: "card", Path: list.Odd[0], Kind: guard.KindSourceOdd})
	case len(list.Files) == 0:
		r.fail(l, "the card is empty", "card out, red tape on, back into the red bin. Ask: is it this card?")
	case len(ev.Earlier) > 0 && ev.Earlier[0].All:
		r.fail(l, fmt.Sprintf("the card holds what %s held, nothing more", ev.Earlier[0].Roll), "card out, red tape on, back into the red bin. Find out which card this is.")
	}
}

func (r *Runner) fail(l Label, reason, do string) { _ = r.holdRoll(l, "program", reason, do) }

// holdFault puts a roll on hold for a fault of the media and tells it in the fault's words.
func (r *Runner) holdFault(l Label, ge *guard.Error) {
	n := r.faultNotice(l, ge)
	if err := r.holdRoll(l, "program", strings.TrimSuffix(strings.TrimPrefix(n.What, string(l)+": "), "."), ""); err != nil {
		return
	}
	r.notices = r.notices[:len(r.notices)-1]
	n.Do = "card out, red tape on, red bin: the roll is on hold. Then: " + n.Do
	r.notify(n)
}

// copiesOn is a roll whose copy and checksum list stand on what was scanned, as this program leaves them; empty for none. No
// camera makes such a thing: it is a drive that was, or is, a destination, maybe of another day.
func copiesOn(list guard.Listing) Label {
	for _, f := range list.Files {
		name, isList := strings.CutSuffix(f.Path, guard.ListExt)
		parts := strings.Split(name, "/")
		if !isList || len(parts) < 3 {
			continue
		}
		l, err := ParseLabel(parts[len(parts)-1])
		if err == nil && parts[len(parts)-2] == string(l.Camera()) && dayFolder(parts[len(parts)-3]) {
			return l
		}
	}
	return ""
}

// dayFolder says whether a folder is named as [Shift.Folder] names those of a shoot day.
func dayFolder(name string) bool {
	day, date, ok := strings.Cut(strings.TrimPrefix(name, "day"), "_")
	_, notNumber := strconv.Atoi(day)
	_, notDate := time.Parse(time.DateOnly, date)
	return ok && strings.HasPrefix(name, "day") && notNumber == nil && notDate == nil
}

// oldFilesNotice says that a card was not formatted, at a moment when it disturbs nothing.
func (r *Runner) oldFilesNotice(roll *Roll) {
	if roll.Scanned == nil {
		return
	}
	for _, e := range roll.Scanned.Earlier {
		r.notify(Notice{Grade: "look", What: fmt.Sprintf("%s on this card belong to %s: it was not formatted since.", plural(e.Files, "file"), e.Roll),
			Safe: "all of it goes into the copies.", Do: "tell the camera department.", lasting: true})
	}
}

// mostQuestions is how many questions to the camera department are shown; the log sheet has all.
const mostQuestions = 2

// toCamera begins every question to the camera department.
const toCamera = "Ask the camera department: "

// askCamera shows what the card's contents raise as questions to the camera department, at the count.
func (r *Runner) askCamera(roll *Roll) {
	r.askTwins(roll)
	if r.cfg.Questions == nil {
		return
	}
	qs := r.cfg.Questions(r.shift, roll.Label, r.listing)
	for i, q := range qs {
		if i == mostQuestions {
			r.notify(Notice{Grade: "info", What: fmt.Sprintf("and %s more; the log sheet has all.", plural(len(qs)-i, "question")), camera: true})
			return
		}
		r.notify(Notice{Grade: "look", What: toCamera + Plain(q), lasting: true, camera: true})
	}
}

func digest(l guard.Listing) string {
	h := xxhash.New()
	for _, f := range l.Files {
		fmt.Fprintf(h, "%s\x00%d\x00%d\x00", f.Path, f.Size, f.MTime)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func fileKey(f guard.Entry) uint64 {
	return xxhash.Sum64String(f.Path + "\x00" + strconv.FormatInt(f.Size, 10) + "\x00" + strconv.FormatInt(f.MTime, 10))
}

// remember keeps which files a proven roll had, to know them again.
func (r *Runner) remember(l Label, sha string) {
	p, err := r.cfg.Media.Load(sha)
	if err != nil {
		r.cfg.Log.Warn("proof", "roll", l, "sha256", sha, "err", err)
		return
	}
	r.proofs[l] = p
	for i := range p.Files {
		r.old[fileKey(p.Files[i].Entry)] = l
	}
}

func asGuard(err error) *guard.Error {
	var ge *guard.Error
	if errors.As(err, &ge) {
		return ge
	}
	return nil
}
