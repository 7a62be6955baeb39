package dummy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
)

// Shape is how the files of a card lie. The zero value is invalid.
type Shape int

// The shapes.
const (
	shapeInvalid Shape = iota
	// Clips: a handful of clips, each with a small file beside it.
	Clips
	// Frames: one folder a take, one file a frame.
	Frames
	// LongTake: one file that is nearly the whole card.
	LongTake
	// System: clips, and a hidden folder that the computer of a camera assistant left behind.
	System
	shapeEnd
)

var shapeNames = [...]string{shapeInvalid: "invalid", Clips: "clips", Frames: "frames", LongTake: "long-take", System: "system"}

// String is the shape's name on the command line.
func (s Shape) String() string {
	if s <= shapeInvalid || s >= shapeEnd {
		return "invalid"
	}
	return shapeNames[s]
}

// Shapes lists every shape.
func Shapes() []Shape { return []Shape{Clips, Frames, LongTake, System} }

// ParseShape reads a shape's name.
func ParseShape(name string) (Shape, error) {
	for _, s := range Shapes() {
		if s.String() == strings.ToLower(strings.TrimSpace(name)) {
			return s, nil
		}
	}
	return shapeInvalid, fmt.Errorf("shape %q: one of clips, frames, long-take, system", name)
}

// file is one file of a card before it is written: its path below the card and its share of the card's bytes.
type file struct {
	path  string
	share int
}

// draft lays out the files of a roll. Every name differs in its letters, so that a question about a name has an answer
// that only looking gives.
func draft(r Roll, rng *rand.Rand) []file {
	switch r.Shape {
	case Frames:
		return frames(r, rng)
	case LongTake:
		name := clipName(r.Label, r.firstClip(), rng)
		return []file{{name + ".mov", 1000}, {name + ".txt", 1}}
	case System:
		fs := clips(r, rng)
		return append(fs, file{".spotless/index.db", 3}, file{".spotless/trash/old.tmp", 1})
	case Clips:
		return clips(r, rng)
	case shapeInvalid, shapeEnd:
	}
	return nil
}

func clips(r Roll, rng *rand.Rand) []file {
	var fs []file
	n := 3 + rng.IntN(4)
	for i := range n {
		name := clipName(r.Label, r.firstClip()+i, rng)
		fs = append(fs, file{"CLIPS/" + name + ".mov", 40 + rng.IntN(120)}, file{"CLIPS/" + name + ".xml", 1})
	}
	return append(fs, file{"REPORT.txt", 1})
}

func frames(r Roll, rng *rand.Rand) []file {
	var fs []file
	takes := 2 + rng.IntN(2)
	for i := range takes {
		take := clipName(r.Label, r.firstClip()+i, rng)
		for f := range 5 + rng.IntN(8) {
			fs = append(fs, file{fmt.Sprintf("%s/%s_%05d.frm", take, take, f+1), 20})
		}
	}
	return append(fs, file{"SOUND/" + clipName(r.Label, r.firstClip(), rng) + ".wav", 8})
}

// letters are those that nobody takes for a digit or for each other.
const letters = "ACEFHJKLMNPRTUVWXY"

// clipName is label, clip number and four letters.
func clipName(label string, n int, rng *rand.Rand) string {
	b := make([]byte, 4)
	for i := range b {
		b[i] = letters[rng.IntN(len(letters))]
	}
	return fmt.Sprintf("%sC%03d_%s", label, n, b)
}

// sizes shares total bytes out; every file gets at least one byte.
func sizes(fs []file, total int64) []int64 {
	sum := 0
	for _, f := range fs {
		sum += f.share
	}
	out := make([]int64, len(fs))
	for i, f := range fs {
		out[i] = max(1, total*int64(f.share)/int64(sum))
	}
	return out
}

// byPath sorts a draft, so that contents do not depend on the order of making.
func byPath(fs []file) {
	slices.SortFunc(fs, func(a, b file) int { return strings.Compare(a.path, b.path) })
}
