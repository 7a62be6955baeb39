package clips

import (
	"cmp"
	"fmt"
	"slices"

	"twobin/guard"
	"twobin/procedure"
)

// Past knows the files of the rolls that a production has proven so far, by their contents and by how they look: name,
// size and recording time. It is what is asked while a card is worked: by looks as soon as the card was scanned, by
// contents as soon as it is copied. The zero value is ready to use; it belongs to one goroutine.
//
// A file of 64 kB and more costs 32 bytes and what room a slice keeps to grow (1,000,000 files: 37 MB), a smaller one
// nothing.
type Past struct {
	rolls    []pastRoll
	contents marks
	looks    marks
	buf      []byte
}

type pastRoll struct {
	label procedure.Label
	day   int
}

// marks finds the roll of a file by a number that tells the file. It is sorted when it is asked: what is learned comes in
// large pieces, and long before.
type marks struct {
	all    []mark
	sorted int
}

type mark struct {
	key  uint64
	roll uint32 // number in Past.rolls
}

func (m *marks) add(key uint64, roll uint32) { m.all = append(m.all, mark{key, roll}) }

// find gives the first roll that has the file and is not left out.
func (m *marks) find(key uint64, leftOut func(roll uint32) bool) (roll uint32, ok bool) {
	order := func(a, b mark) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.roll, b.roll)) }
	if m.sorted < len(m.all) {
		slices.SortFunc(m.all, order)
		m.sorted = len(m.all)
	}
	for next := (mark{key: key}); ; next.roll++ {
		i, _ := slices.BinarySearchFunc(m.all, next, order)
		if i == len(m.all) || m.all[i].key != key {
			return 0, false
		}
		if next.roll = m.all[i].roll; !leftOut(next.roll) {
			return next.roll, true
		}
	}
}

// Add takes in the files of a roll of a shoot day.
func (pa *Past) Add(l procedure.Label, day int, p *guard.Proof) {
	n := uint32(len(pa.rolls))
	pa.rolls = append(pa.rolls, pastRoll{l, day})
	for i := range p.Files {
		f := &p.Files[i]
		if f.Size < minEqual || isHidden(f.Path) {
			continue
		}
		pa.contents.add(contents(*f), n)
		var k uint64
		k, pa.buf = likeness(pa.buf, f.Entry)
		pa.looks.add(k, n)
	}
}

// Alike asks about clips of a card that look the same as those of another roll: the contents are not known yet. l is the
// card's roll, day its shoot day.
func (pa *Past) Alike(l procedure.Label, day int, list guard.Listing) []procedure.Twin {
	g := pa.group(l)
	for _, e := range list.Files {
		if e.Size < minEqual || isHidden(e.Path) {
			continue
		}
		var k uint64
		k, pa.buf = likeness(pa.buf, e)
		n, ok := pa.looks.find(k, g.isOwn)
		g.put(n, ok, e)
	}
	return g.twins(day, "may be the same as on %s (%s; name, size and time are)", "every clip ", "some clips ")
}

// Equal asks about files of a proven roll whose contents stand on another roll, or twice on this one.
func (pa *Past) Equal(l procedure.Label, day int, p *guard.Proof) []procedure.Twin {
	g := pa.group(l)
	own := map[uint64]bool{}
	var twice []guard.Entry
	for i := range p.Files {
		f := &p.Files[i]
		if f.Size < minEqual || isHidden(f.Path) {
			continue
		}
		k := contents(*f)
		n, ok := pa.contents.find(k, g.isOwn)
		if !g.put(n, ok, f.Entry) && own[k] {
			twice = append(twice, f.Entry)
		}
		own[k] = true
	}
	out := g.twins(day, "also on %s (%s)", "every clip stands ", "some clips stand ")
	if len(twice) > 0 {
		out = append(out, procedure.Twin{Of: l, Text: fmt.Sprintf("some files stand twice on this roll (%s): copied by hand?", some(twice))})
	}
	return out
}

// grouped are a card's clips by the other roll on which each stands too.
type grouped struct {
	pa    *Past
	own   procedure.Label
	all   int
	by    map[uint32][]guard.Entry
	order []uint32
}

func (pa *Past) group(l procedure.Label) *grouped {
	return &grouped{pa: pa, own: l, by: map[uint32][]guard.Entry{}}
}

// isOwn says that a roll is the card's own: it may have been learned already, and before the other one.
func (g *grouped) isOwn(n uint32) bool { return g.pa.rolls[n].label == g.own }

// put counts a clip, and keeps it if it was found on another roll.
func (g *grouped) put(n uint32, found bool, e guard.Entry) bool {
	g.all++
	if !found {
		return false
	}
	if g.by[n] == nil {
		g.order = append(g.order, n)
	}
	g.by[n] = append(g.by[n], e)
	return true
}

// twins makes a question of each roll, the one with most of the clips first. It names no number of files: at the count the
// operator reads that from the book.
func (g *grouped) twins(day int, where, every, few string) []procedure.Twin {
	slices.SortStableFunc(g.order, func(a, b uint32) int { return len(g.by[b]) - len(g.by[a]) })
	var out []procedure.Twin
	for _, n := range g.order {
		es, r := g.by[n], g.pa.rolls[n]
		what, on := few, procedure.Plain(string(r.label))
		if len(es) == g.all {
			what = every
		}
		if r.day != day {
			on += fmt.Sprintf(" of day %d", r.day)
		}
		out = append(out, procedure.Twin{Of: r.label, Text: what + fmt.Sprintf(where, on, some(es)) + ": was the card not formatted in between?"})
	}
	return out
}

// some names the first file, and says whether there are more, but not how many.
func some(es []guard.Entry) string {
	if len(es) > 1 {
		return short(es[0].Path) + " and more"
	}
	return short(es[0].Path)
}
