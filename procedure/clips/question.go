package clips

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/guard"
	"twobin/procedure"
)

// Kind is what a question is about. The zero value is invalid.
type Kind int

// The kinds of question, in the order in which they are asked.
const (
	kindInvalid Kind = iota
	// Gap: numbers are skipped in the names of clips.
	Gap
	// OddName: a few names do not follow the pattern of the others.
	OddName
	// Empty: files of no bytes.
	Empty
	// OtherLabel: names that begin with another roll's label.
	OtherLabel
	// Equal: files with the same contents, on this roll or another.
	Equal
	// Clock: recording times outside the shift.
	Clock
	// Hidden: hidden files that a computer leaves behind.
	Hidden
	kindEnd
)

var kindNames = [...]string{
	kindInvalid: "invalid", Gap: "gap", OddName: "odd name", Empty: "empty", OtherLabel: "other label", Equal: "equal files",
	Clock: "clock", Hidden: "hidden",
}

// String is the kind in one or two words.
func (k Kind) String() string {
	if k <= kindInvalid || k >= kindEnd {
		return "invalid"
	}
	return kindNames[k]
}

// MarshalText is String, for JSON.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// Question is one thing to ask the camera department.
type Question struct {
	Kind Kind `json:"kind"`
	// Text is one line, safe to show.
	Text string `json:"text"`
	// Files is how many files it is about; for a gap, how many numbers.
	Files int `json:"files"`
	// First is the path of the first of them as the card has it, not safe to show; empty for a gap.
	First string `json:"-"`
}

// Facts is what the shift knows that a list of files does not say. The zero value asks less.
type Facts struct {
	// Began is when the shift was opened, Came when the roll came in; zero: times are not asked about.
	Began, Came time.Time
	// Cameras are the cameras of the shift; none: labels of any camera are taken for labels.
	Cameras []procedure.Camera
}

// Listing asks about what a card holds.
func Listing(l procedure.Label, list guard.Listing, f Facts) []Question {
	var clips, hidden []guard.Entry
	for _, e := range list.Files {
		if isHidden(e.Path) {
			hidden = append(hidden, e)
			continue
		}
		clips = append(clips, e)
	}
	qs := names(clips)
	qs = append(qs, empty(clips)...)
	qs = append(qs, otherLabels(l, clips, f.Cameras)...)
	qs = append(qs, times(clips, f)...)
	if len(hidden) > 0 {
		qs = append(qs, ask(Hidden, hidden, "%s on the card (%s): was it in a computer?", count(len(hidden), "hidden file of a computer", "hidden files of a computer")))
	}
	return ordered(qs)
}

// Proof asks about a proven roll: everything that Listing asks, and about equal files among its own and those that ix
// holds of other rolls. A nil ix: only its own.
func Proof(l procedure.Label, p *guard.Proof, f Facts, ix *Index) []Question {
	return ordered(append(Listing(l, p.Listing(), f), equals(l, p, ix)...))
}

func ordered(qs []Question) []Question {
	slices.SortStableFunc(qs, func(a, b Question) int { return cmp.Compare(a.Kind, b.Kind) })
	return qs
}

// Of asks about every roll of a shift that has a proof, and fills in ix, which may hold other shifts' rolls already.
// The answer has one list a roll with questions. The error names the first roll whose proof could not be had, after all
// others were asked about.
func Of(s *procedure.Shift, load func(sha string) (*guard.Proof, error), ix *Index) (map[procedure.Label][]Question, error) {
	out := map[procedure.Label][]Question{}
	var first error
	for _, l := range s.Order {
		r := s.Rolls[l]
		if r.Proof == "" {
			continue
		}
		p, err := load(r.Proof)
		if err != nil {
			if first == nil {
				first = fmt.Errorf("ask about %s: %w", l, err)
			}
			continue
		}
		if qs := Proof(l, p, FactsOf(s, r), ix); len(qs) > 0 {
			out[l] = qs
		}
		ix.Add(l, p)
	}
	return out, first
}

// FactsOf is what a shift knows for the questions about one of its rolls.
func FactsOf(s *procedure.Shift, r *procedure.Roll) Facts {
	f := Facts{Began: s.OpenedAt.Wall, Came: r.Came.Wall}
	for _, c := range s.Cameras {
		f.Cameras = append(f.Cameras, c.Camera)
	}
	return f
}

// ask makes a question about files; format has one verb for count and one for the paths.
func ask(k Kind, es []guard.Entry, format, count string) Question {
	return Question{Kind: k, Files: len(es), First: es[0].Path, Text: fmt.Sprintf(format, count, few(es))}
}

// few names the first two files, and says that there are more.
func few(es []guard.Entry) string {
	const most = 2
	var names []string
	for _, e := range es[:min(most, len(es))] {
		names = append(names, short(e.Path))
	}
	if n := len(es) - most; n > 0 {
		names = append(names, fmt.Sprintf("%d more", n))
	}
	return strings.Join(names, ", ")
}

// short makes a path safe and at most 40 characters long; what is cut is its front, since names differ at their end.
func short(p string) string {
	const most = 40
	r := []rune(procedure.Plain(p))
	if len(r) > most {
		return "…" + string(r[len(r)-most+1:])
	}
	return string(r)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
