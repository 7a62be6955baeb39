package guard

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// question is one asking of the lock: what Lock was given, and what several conditions need.
type question struct {
	p   *Proof
	f   Facts
	l   *Look
	pol Policy
	now time.Time
	// damage says why p is no proof of this roll; empty for a good one. good are its proven copies.
	damage string
	detail string
	good   []*Copy
}

func newQuestion(p *Proof, f Facts, l *Look, pol Policy, now time.Time) *question {
	q := &question{p: p, f: f, l: l, pol: pol, now: now}
	q.damage, q.detail = q.proofDamage()
	if q.damage != "" {
		return q
	}
	for i := range p.Copies {
		if p.Proven(&p.Copies[i]) {
			q.good = append(q.good, &p.Copies[i])
		}
	}
	return q
}

// proofDamage says, in the words of the screen and in detail, why the proof counts for nothing.
func (q *question) proofDamage() (says, detail string) {
	switch {
	case q.p == nil:
		return "there is no proof of this roll", ""
	case q.p.Label == "" || q.p.Label != q.f.Label:
		return "the proof is another roll's", q.p.Label
	case q.p.Card.Simulated != q.f.Drill:
		return "drill and shift never mix: the proof is of the other", ""
	case len(q.p.Files) == 0:
		return "the proof has no files: there is nothing to erase", ""
	}
	sum, err := q.p.Digest()
	if err != nil {
		return "the proof is damaged", err.Error()
	}
	if sum != q.f.ProofSHA {
		return "the proof is not the one that the journal acknowledged", sum
	}
	return "", ""
}

func holds(id, says string) Condition { return Condition{ID: id, Holds: true, Says: says} }

func closed(id, says, do string) Condition { return Condition{ID: id, Says: says, Do: do} }

// why adds detail for the record.
func (c Condition) why(detail string) Condition {
	c.Detail = detail
	return c
}

// handled is L1: the roll went through look, mark and bin, and whoever works now did the look.
func (q *question) handled() Condition {
	const id = "L1"
	f := q.f
	switch {
	case !f.Looked:
		return closed(id, "not every copy has been looked at", "do the look: open each drive and look.")
	case f.Operator == "" || f.LookedBy != f.Operator:
		return closed(id, "the look was done by another operator", "repeat the look yourself.")
	case !f.Marked:
		return closed(id, "not marked: green tape is not on", "wipe the label off, green tape on.")
	case !f.Binned:
		return closed(id, "never was in the green bin", "lay the card into the green bin.")
	}
	return holds(id, "looked at, marked, and was in the green bin")
}

// sameCard is L2: this is that card, and it holds exactly what was proven.
func (q *question) sameCard() Condition {
	const id = "L2"
	const back = "put back. Recorded on again? On hold, ask: the same roll or a new one?"
	if q.l == nil {
		return closed(id, "the card has not been looked at afresh", "seat the card and look.")
	}
	if q.damage != "" {
		return closed(id, "cannot be compared: "+q.damage, "offload the card again.").why(q.detail)
	}
	card := q.l.Card
	switch {
	case q.l.Err != "":
		return closed(id, "the card cannot be read", "seat it again; if it stays so: hold.").why(q.l.Err)
	case card.Simulated != q.f.Drill:
		return closed(id, "drill and shift never mix: this is no card for it", "put back.")
	case card.ID == "":
		return closed(id, "the card cannot be told from others", "do not erase here: have it formatted in the camera.")
	case card.ID != q.p.Card.ID:
		return closed(id, "this is not the card of the proof", "put back, take the right card.").why(card.ID)
	}
	if d := compare(q.p.Listing(), q.l.Listing, card.FSType); !d.same() {
		return closed(id, "the card does not hold what was proven: "+d.String(), back).why(d.first)
	}
	return holds(id, fmt.Sprintf("the same card, holding exactly the %d proven files", len(q.p.Files)))
}

// proven is L3: enough copies whose every file was read back equal.
func (q *question) proven() Condition {
	const id = "L3"
	if q.damage != "" {
		return closed(id, q.damage, "offload the card again.").why(q.detail)
	}
	n, want := len(q.good), q.pol.Destinations
	if n < want {
		return closed(id, fmt.Sprintf("proven on %d of at least %d destinations", n, want), "offload the card again.")
	}
	return holds(id, fmt.Sprintf("every file proven on %d destinations", n))
}

// separate is L4: those destinations are separate devices, and none is the card's. It must have been so when the copies
// were made, and be so now.
func (q *question) separate() Condition {
	const id = "L4"
	const do = "copy it to a drive of its own: offload the card again."
	if q.damage != "" {
		return closed(id, "no proven copies to compare", "offload the card again.")
	}
	then := make([]string, 0, len(q.good))
	for _, c := range q.good {
		then = append(then, c.Volume.Disk)
	}
	if says := apart(then, q.p.Card.Disk, q.pol.Destinations); says != "" {
		return closed(id, says, do).why("when the copies were made")
	}
	if q.l == nil {
		return closed(id, "the drives have not been looked at afresh", "seat the card and look.")
	}
	now := make([]string, 0, len(q.good))
	for _, c := range q.good {
		if found := q.find(c.Name); found != nil {
			now = append(now, found.Volume.Disk)
		}
	}
	if says := apart(now, q.l.Card.Disk, q.pol.Destinations); says != "" {
		return closed(id, says, "mount every drive by itself, then look again.").why("now")
	}
	return holds(id, fmt.Sprintf("on %d separate devices", devices(then)))
}

// find is the one look at the destination of that name; nil if there is none, or more than one.
func (q *question) find(name string) *CopyLook {
	var found *CopyLook
	for i := range q.l.Copies {
		if q.l.Copies[i].Name != name {
			continue
		}
		if found != nil {
			return nil
		}
		found = &q.l.Copies[i]
	}
	return found
}

// held is L5: every proven destination is there now, holds every file at its size, and hashes equal again.
func (q *question) held() Condition {
	const id = "L5"
	if len(q.good) == 0 {
		return closed(id, "no proven copies to look for", "offload the card again.")
	}
	if q.l == nil {
		return closed(id, "the copies have not been looked at afresh", "seat the card and look.")
	}
	if q.l.Proof != q.f.ProofSHA {
		return closed(id, "the look was for another proof", "look again.")
	}
	fewest := len(q.p.Files)
	for _, c := range q.good {
		found := q.find(c.Name)
		if c := q.copyHeld(c, found); !c.Holds {
			return c
		}
		fewest = min(fewest, len(found.Rehashed))
	}
	return holds(id, fmt.Sprintf("all copies are there; %d files of each hash equal again", fewest))
}

// copyHeld is L5 for one destination.
func (q *question) copyHeld(c *Copy, found *CopyLook) Condition {
	const id = "L5"
	const hold = "put the roll on hold and ask. Do not erase."
	on := short(c.Name)
	if found == nil || !found.Mounted {
		cl := closed(id, on+" is not there", "mount "+on+", then look again.")
		if found != nil {
			cl.Detail = found.Err
		}
		return cl
	}
	n := len(q.p.Files)
	switch {
	case c.Volume.ID == "" && found.Volume.ID == "":
		return closed(id, on+" cannot be told from other drives", "do not erase here: have it formatted in the camera.")
	case found.Volume.ID != c.Volume.ID || found.Volume.Simulated != q.f.Drill:
		return closed(id, "another volume is where "+on+" was", "mount the right drive, then look again.").why(found.Volume.ID)
	case found.Err != "":
		return closed(id, on+" cannot be read in full", "look again; if it stays so: hold.").why(found.Err)
	case found.Missing != 0 || found.WrongSize != 0 || found.Held != n:
		says := fmt.Sprintf("%s holds %d of %d files at their size", on, found.Held, n)
		return closed(id, says, hold).why(found.First)
	}
	chosen := make([]int, len(found.Rehashed))
	honest := FromDevice
	if q.f.Drill {
		honest = FromSimulated
	}
	for i, r := range found.Rehashed {
		chosen[i] = r.File
		if r.File < 0 || r.File >= n {
			return closed(id, "the look at "+on+" is damaged", "look again.")
		}
		if r.Honesty != honest {
			return closed(id, on+" was not read from the device", "copy to a drive that can be read back.").why(r.Honesty.String())
		}
		if r.Hash != q.p.Files[r.File].Hash {
			return closed(id, "a file on "+on+" differs from the proof", hold).why(q.p.Files[r.File].Path)
		}
	}
	if err := q.pol.Enough(q.p, chosen); err != nil {
		return closed(id, "too little of "+on+" was hashed again", "look again.").why(err.Error())
	}
	return holds(id, "")
}

// notOnHold is L6.
func (q *question) notOnHold() Condition {
	const id = "L6"
	if q.f.Label == "" {
		return closed(id, "no roll is named", "name the roll.")
	}
	if n := len(q.f.Holds); n > 0 {
		return closed(id, fmt.Sprintf("on hold (%s open)", reasons(n)), "take it through a fresh pass, from pick.").
			why(strings.Join(q.f.Holds, "; "))
	}
	return holds(id, "not on hold")
}

func reasons(n int) string {
	if n == 1 {
		return "1 reason"
	}
	return fmt.Sprintf("%d reasons", n)
}

// journalWhole is L7.
func (q *question) journalWhole() Condition {
	const id = "L7"
	if !q.f.JournalWhole || q.f.JournalFault != "" {
		return closed(id, "the journal's chain is not whole", "do not erase: verify the journal and ask.").why(q.f.JournalFault)
	}
	return holds(id, "the journal's chain is whole")
}

// fresh is L8: the look is younger than the limit, and no volume came or went since.
func (q *question) fresh() Condition {
	const id = "L8"
	limit := q.pol.EraseWithin
	switch {
	case q.l == nil || q.l.At.IsZero():
		return closed(id, "there is no fresh look", "seat the card and look.")
	case q.f.Disturbed:
		return closed(id, "a volume came or went since the look", "look again.")
	case q.now.Before(q.l.At):
		return closed(id, "the clock went back since the look", "look again.")
	case !young(q.l.At, q.now, limit):
		return closed(id, fmt.Sprintf("the look is older than %s", limit), "look again, then type without delay.")
	}
	return holds(id, fmt.Sprintf("the look is younger than %s", clockface(limit)))
}

// short is a destination's name for a line of the screen.
func short(name string) string {
	const most = 20
	r := []rune(oneLine(name))
	if len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return string(r)
}

// apart says what speaks against these disks being at least want separate devices and none of them the card's; empty
// for nothing. An unknown disk never counts as separate.
func apart(disks []string, card string, want int) string {
	if card == "" {
		return "the card's device is not known"
	}
	for _, d := range disks {
		if devices([]string{d, card}) != 2 && d != "" {
			return "a copy is on the card's own device"
		}
	}
	if n := devices(disks); n < want {
		return fmt.Sprintf("copies on %d of at least %d separate devices", n, want)
	}
	return ""
}

// devices counts the devices that fail apart from each other. A disk may name several, joined by "+" (a RAID): disks
// that share one, also through a third, count once.
func devices(disks []string) int {
	var groups [][]string
	for _, d := range disks {
		if d == "" {
			continue
		}
		mine := strings.Split(d, "+")
		groups = slices.DeleteFunc(groups, func(g []string) bool {
			if !slices.ContainsFunc(g, func(part string) bool { return slices.Contains(mine, part) }) {
				return false
			}
			mine = append(mine, g...)
			return true
		})
		groups = append(groups, mine)
	}
	return len(groups)
}

// clockface is a span as m:ss.
func clockface(d time.Duration) string {
	s := int64(d / time.Second)
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
