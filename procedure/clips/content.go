package clips

import (
	"path"
	"slices"
	"strings"
	"time"

	"twobin/guard"
	"twobin/procedure"
)

// Spans around a shift in which a recording time is no question (this project's own choice): cameras roll before the
// shift of the person who handles their cards begins, and a camera's clock may be a little ahead.
const (
	beforeShift = 6 * time.Hour
	aheadClock  = 5 * time.Minute
)

// minEqual is the smallest size in bytes at which equal contents are asked about: below are lists and marks, which are
// often the same on every card.
const minEqual = 64 << 10

// noClock: file systems of cards count from 1980 on (FAT); a time around that is no time.
var noClock = time.Date(1980, 1, 3, 0, 0, 0, 0, time.UTC)

// computerNames are what desktop systems leave on a volume, in lower case, as first part of a path or as a name.
var computerNames = []string{"system volume information", "$recycle.bin", "recycler", "thumbs.db", "desktop.ini", "lost+found"}

// isHidden says whether any part of a path begins with a point or is a name that a computer leaves behind.
func isHidden(p string) bool {
	for part := range strings.SplitSeq(p, "/") {
		if strings.HasPrefix(part, ".") || slices.Contains(computerNames, strings.ToLower(part)) {
			return true
		}
	}
	return false
}

func empty(es []guard.Entry) []Question {
	var none []guard.Entry
	for _, e := range es {
		if e.Size == 0 {
			none = append(none, e)
		}
	}
	if len(none) == 0 {
		return nil
	}
	return []Question{ask(Empty, none, "%s without contents (%s): was the recording broken off?", count(len(none), "file is", "files are"))}
}

// otherLabels asks about names that begin with a label of as many digits as this roll's, but of another roll.
func otherLabels(l procedure.Label, es []guard.Entry, cameras []procedure.Camera) []Question {
	by := map[procedure.Label][]guard.Entry{}
	var order []procedure.Label
	for _, e := range es {
		o, ok := leadingLabel(path.Base(e.Path), len(l)-len(l.Camera()))
		if !ok || o == l || len(cameras) > 0 && !slices.Contains(cameras, o.Camera()) {
			continue
		}
		if by[o] == nil {
			order = append(order, o)
		}
		by[o] = append(by[o], e)
	}
	single := map[procedure.Camera]int{} // how many labels stand on one file only
	for _, o := range order {
		if len(by[o]) == 1 {
			single[o.Camera()]++
		}
	}
	var qs []Question
	for _, o := range order {
		if len(by[o]) == 1 && single[o.Camera()] >= minSeries {
			continue // a letter and a counter: the clips' own numbers, no labels
		}
		qs = append(qs, ask(OtherLabel, by[o], "%s the label "+string(o)+", not "+string(l)+" (%s): which roll is this?", count(len(by[o]), "name carries", "names carry")))
	}
	return qs
}

// leadingLabel reads a label of that many digits at the beginning of a name, not followed by another digit.
func leadingLabel(name string, digits int) (procedure.Label, bool) {
	up := strings.ToUpper(name)
	i := 0
	for i < len(up) && up[i] >= 'A' && up[i] <= 'Z' {
		i++
	}
	j := i
	for j < len(up) && up[j] >= '0' && up[j] <= '9' {
		j++
	}
	if i == 0 || j-i != digits {
		return "", false
	}
	l, err := procedure.ParseLabel(up[:j])
	return l, err == nil
}

func times(es []guard.Entry, f Facts) []Question {
	if f.Began.IsZero() || f.Came.IsZero() {
		return nil
	}
	var none, before, after []guard.Entry
	for _, e := range es {
		switch at := time.Unix(0, e.MTime); {
		case at.Before(noClock):
			none = append(none, e)
		case at.Before(f.Began.Add(-beforeShift)):
			before = append(before, e)
		case at.After(f.Came.Add(aheadClock)):
			after = append(after, e)
		}
	}
	zone := f.Began.Location()
	var qs []Question
	if len(none) > 0 {
		qs = append(qs, ask(Clock, none, "%s no time (%s): is the camera's clock set?", count(len(none), "file carries", "files carry")))
	}
	if len(before) > 0 {
		qs = append(qs, ask(Clock, before, "%s before this shift, the first at "+earliest(before, zone)+" (%s): an older roll, or the camera's clock?", count(len(before), "file was recorded", "files were recorded")))
	}
	if len(after) > 0 {
		qs = append(qs, ask(Clock, after, "%s after the card came in, the first at "+earliest(after, zone)+" (%s): is the camera's clock or zone right?", count(len(after), "file was recorded", "files were recorded")))
	}
	return qs
}

func earliest(es []guard.Entry, zone *time.Location) string {
	e := slices.MinFunc(es, func(a, b guard.Entry) int { return int(max(-1, min(1, a.MTime-b.MTime))) })
	return time.Unix(0, e.MTime).In(zone).Format("2006-01-02 15:04")
}

// equals asks about files that stand twice on a roll or also on another one.
func equals(l procedure.Label, p *guard.Proof, ix *Index) []Question {
	own := map[uint64]bool{}
	by := map[procedure.Label][]guard.Entry{}
	var order []procedure.Label
	for _, f := range p.Files {
		if f.Size < minEqual || isHidden(f.Path) {
			continue
		}
		at, ok := ix.find(f)
		switch {
		case ok && at != l:
		case own[contents(f)]:
			at = l
		default:
			own[contents(f)] = true
			continue
		}
		if by[at] == nil {
			order = append(order, at)
		}
		by[at] = append(by[at], f.Entry)
	}
	var qs []Question
	for _, o := range order {
		format := "%s also on " + string(o) + " (%s): was the card not formatted in between?"
		if o == l {
			format = "%s twice on this roll (%s): copied by hand?"
		}
		qs = append(qs, ask(Equal, by[o], format, count(len(by[o]), "file stands", "files stand")))
	}
	return qs
}

// Recorded gives the first and the last recording time of a card: the times of its files, without hidden ones and those
// that carry no time. Both are zero when there are none.
func Recorded(files []guard.File) (first, last time.Time) {
	for _, f := range files {
		at := time.Unix(0, f.MTime)
		if at.Before(noClock) || isHidden(f.Path) {
			continue
		}
		if first.IsZero() || at.Before(first) {
			first = at
		}
		if at.After(last) {
			last = at
		}
	}
	return first, last
}
