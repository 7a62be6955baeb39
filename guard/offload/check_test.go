package offload

import (
	"errors"
	"slices"
	"testing"

	"twobin/guard"
)

// Devices that a RAID or a volume of several disks ties together are one, although their names differ.
func TestCheckComparesDevices(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		card  string
		disks []string
		want  []string // the destinations that are told
	}{
		{"sda", []string{"sdb", "sdc"}, nil}, {"sda", []string{"sdb", "sdb"}, []string{"1"}}, {"sda", []string{"sdb+sdc", "sdc"}, []string{"1"}},
		{"sdc", []string{"sdb+sdc", "sdd"}, []string{"0"}}, {"sda", []string{"sdb+sdc", "sdd+sde"}, nil}, {"sda", []string{"", "sdb"}, []string{"0", "1"}},
		{"", []string{"sdb", "sdc"}, []string{"0", "1"}}, {"sda", []string{"sda1", "sda"}, []string{"1"}},
	} {
		ch := checker{job: &Job{Source: guard.Volume{Disk: c.card}}}
		for i, d := range c.disks {
			ch.job.Targets = append(ch.job.Targets, Target{Name: string(rune('0' + i)), Volume: guard.Volume{Disk: d}})
		}
		ch.devices()
		var got []string
		for _, err := range ch.errs {
			if err.Kind != guard.KindSameDevice || errors.Unwrap(err) == nil {
				t.Errorf("%+v: %v", c, err)
			}
			got = append(got, err.Item)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("card on %q, destinations on %q: told %v, want %v", c.card, c.disks, got, c.want)
		}
	}
}
