package offload

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"twobin/guard"
)

// However many names of one kind a card has, those of the other kinds are tried, too: a volume that takes letters of every
// script may still leave out a dot at the end.
func TestEveryKindOfUnusualNameIsTried(t *testing.T) {
	t.Parallel()
	var list guard.Listing
	for i := range 5 * triedNames {
		list.Files = append(list.Files, guard.Entry{Path: fmt.Sprintf("CLIPS/\u685c%05d.mov", i)})
	}
	odd := []string{"zz.", "zz ", " zz", "z\xffz", "z:z", "z\nz", "z\\z", strings.Repeat("z", 201)}
	for _, name := range odd {
		list.Files = append(list.Files, guard.Entry{Path: "CLIPS/" + name}, guard.Entry{Path: "MORE/" + name})
	}
	list.Files = append(list.Files, guard.Entry{Path: "CLIPS/zz.mov"})
	got := unusual(list)
	if want := triedNames + len(odd); len(got) != want || !slices.Equal(got[triedNames:], odd) {
		t.Errorf("%d names are tried, want %d; the last are %q, want %q", len(got), want, got[max(0, len(got)-len(odd)):], odd)
	}
}
