package drill

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// A plan fitted to a size is the same plan: only bytes differ. No card has more than was asked for but what is added to
// it later, drives have room for every roll more than twice, and as many stand there as the policy asks for.
func TestFit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(Drills()).Draw(t, "drill")
		seed := rapid.Int64Range(1, 1e6).Draw(t, "seed")
		size := rapid.Int64Range(1, 16e12).Draw(t, "size")
		drives := rapid.IntRange(0, 9).Draw(t, "drives")
		small, p := NewPlan(d, seed), NewPlan(d, seed)
		p.Fit(size, drives)
		if diff := cmp.Diff(small, p, cmpopts.IgnoreFields(Plan{}, "Drives", "CardSize", "Take", "Stranger"), cmpopts.IgnoreFields(Roll{}, "Size")); diff != "" {
			t.Fatalf("something else than bytes differs:\n%s", diff)
		}
		var all int64
		for i, r := range p.Rolls {
			all += r.Size
			if r.Size < 1 || r.Size > size || r.Size < size/4 {
				t.Errorf("%s has %d bytes, asked were %d", r.Label, r.Size, size)
			}
			if small.Rolls[i].Size > small.Rolls[0].Size && r.Size < p.Rolls[0].Size {
				t.Errorf("%s was fuller than %s and is no more", r.Label, p.Rolls[0].Label)
			}
		}
		in := 0
		for i, k := range p.Drives {
			if k.Capacity < 2*all || k.Capacity < small.Drives[0].Capacity {
				t.Errorf("%s has %d bytes for rolls of %d", k.Name, k.Capacity, all)
			}
			if i < len(small.Drives) && (k.Name != small.Drives[i].Name || k.Spare != small.Drives[i].Spare) {
				t.Errorf("drive %d was %+v and is %+v", i, small.Drives[i], k)
			}
			if !k.Spare {
				in++
			}
		}
		if in != max(2, drives) {
			t.Errorf("%d drives stand there, want %d", in, max(2, drives))
		}
		if p.CardSize < p.Fullest() || p.Room() < all*int64(1+in) || p.Stranger < size/4 {
			t.Errorf("card %d, fullest %d, room %d, stranger %d for rolls of %d", p.CardSize, p.Fullest(), p.Room(), p.Stranger, all)
		}
	})
}

// Without a size nothing changes.
func TestFitSmall(t *testing.T) {
	t.Parallel()
	for _, d := range Drills() {
		p := NewPlan(d, 1)
		p.Fit(0, 2)
		if diff := cmp.Diff(NewPlan(d, 1), p); diff != "" {
			t.Errorf("%s:\n%s", d.Name, diff)
		}
	}
}
