package command

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/procedure"
)

// identities plays what is mounted where.
type identities map[string]guard.Volume

func (i identities) Identify(path string) (guard.Volume, error) {
	v, ok := i[path]
	if !ok {
		return guard.Volume{}, errors.New("not there")
	}
	return v, nil
}

// TestFreeNow: only the drive that was set up counts, not another one in its place, none that is gone, none of a drill.
func TestFreeNow(t *testing.T) {
	t.Parallel()
	dest := func(name, id string, simulated bool) procedure.Destination {
		return procedure.Destination{Name: name, Path: "/" + name, Volume: guard.Volume{ID: id, Simulated: simulated}}
	}
	s := &procedure.Shift{Dests: []procedure.Destination{
		dest("RAID", "uuid:1", false), dest("SHUTTLE", "uuid:2", false), dest("GONE", "uuid:3", false), dest("PLAY", "uuid:4", true), dest("NONE", "", false),
	}}
	got := freeNow(identities{
		"/RAID": {ID: "uuid:1", Free: 700}, "/SHUTTLE": {ID: "uuid:9", Free: 800}, "/PLAY": {ID: "uuid:4", Free: 900}, "/NONE": {Free: 1},
	}, s)
	if diff := cmp.Diff(map[string]int64{"RAID": 700}, got); diff != "" {
		t.Errorf("free room (-want +got):\n%s", diff)
	}
	if got := freeNow(identities{}, nil); len(got) != 0 {
		t.Errorf("without a shift: %v", got)
	}
}
