package guard

import (
	"testing"
	"time"
)

// TestInvariant4Proven: a copy counts only if every file was read back equal, from the device, after the last write, and
// nothing was simulated unless all was.
func TestInvariant4Proven(t *testing.T) {
	now := time.Now()
	tests := []struct {
		name   string
		change func(p *Proof, c *Copy)
		want   bool
	}{
		{"good", func(*Proof, *Copy) {}, true},
		{"read at the very time of the last write", func(_ *Proof, c *Copy) { c.ReadFrom = c.LastWrite }, true},
		{"all simulated", func(p *Proof, c *Copy) { p.Card.Simulated, c.Volume.Simulated, c.Honesty = true, true, FromSimulated }, true},
		{"a fault", func(_ *Proof, c *Copy) { c.Fault = "full" }, false},
		{"one too few", func(_ *Proof, c *Copy) { c.Back = c.Back[:1] }, false},
		{"one too many", func(_ *Proof, c *Copy) { c.Back = append(c.Back, c.Back[0]) }, false},
		{"one not read", func(_ *Proof, c *Copy) { c.Back[1].OK = false }, false},
		{"one differs", func(_ *Proof, c *Copy) { c.Back[1].Hash++ }, false},
		{"from the cache", func(_ *Proof, c *Copy) { c.Honesty = NotPastCache }, false},
		{"unknown honesty", func(_ *Proof, c *Copy) { c.Honesty = 99 }, false},
		{"from the cache, all simulated", func(p *Proof, c *Copy) { p.Card.Simulated, c.Volume.Simulated, c.Honesty = true, true, NotPastCache }, false},
		{"a simulated card", func(p *Proof, _ *Copy) { p.Card.Simulated = true }, false},
		{"a simulated drive", func(_ *Proof, c *Copy) { c.Volume.Simulated = true }, false},
		{"a real reading of simulated volumes", func(p *Proof, c *Copy) { p.Card.Simulated, c.Volume.Simulated = true, true }, false},
		{"a simulated reading", func(_ *Proof, c *Copy) { c.Honesty = FromSimulated }, false},
		{"a simulated reading, real card", func(_ *Proof, c *Copy) { c.Volume.Simulated, c.Honesty = true, FromSimulated }, false},
		{"a simulated reading, real drive", func(p *Proof, c *Copy) { p.Card.Simulated, c.Honesty = true, FromSimulated }, false},
		{"never written", func(_ *Proof, c *Copy) { c.LastWrite = time.Time{} }, false},
		{"never read", func(_ *Proof, c *Copy) { c.ReadFrom = time.Time{} }, false},
		{"neither written nor read", func(_ *Proof, c *Copy) { c.LastWrite, c.ReadFrom = time.Time{}, time.Time{} }, false},
		{"read before the last write", func(_ *Proof, c *Copy) { c.ReadFrom = c.LastWrite.Add(-1) }, false},
		{"read before an impossible time", func(_ *Proof, c *Copy) { c.LastWrite, c.ReadFrom = time.Time{}.Add(-1), time.Time{} }, false},
	}
	for _, tt := range tests {
		p := &Proof{Files: []File{{Entry{"a", 1, 1}, 7}, {Entry{"b", 1, 1}, 8}}}
		c := &Copy{Honesty: FromDevice, LastWrite: now, ReadFrom: now.Add(1), Back: []Back{{7, true}, {8, true}}}
		tt.change(p, c)
		if got := p.Proven(c); got != tt.want {
			t.Errorf("%s: Proven = %v, want %v", tt.name, got, tt.want)
		}
	}
}

// A look is too old by either clock: the monotonic one may stand still while the machine sleeps, and a wall clock that was
// set back makes nothing younger.
func TestYoungByBothClocks(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		age, wall time.Duration
		want      bool
	}{
		{59 * time.Second, 59 * time.Second, true}, {time.Minute, time.Minute, false}, {time.Minute, 59 * time.Second, false},
		{59 * time.Second, time.Minute, false}, {5 * time.Second, time.Hour, false},
		{time.Hour, 5 * time.Second, false}, {5 * time.Second, -time.Hour, true}, {-1, 0, false},
	} {
		if got := youngBy(c.age, c.wall, time.Minute); got != c.want {
			t.Errorf("youngBy(%v, %v, 1m) = %v, want %v", c.age, c.wall, got, c.want)
		}
	}
}

// Two volumes lie on one device when both say which they lie on, and one of these is the same.
func TestSharesDisk(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"sda", "sda", true}, {"sda", "sdb", false}, {"sda+sdb", "sdb", true}, {"sda+sdb", "sdc+sdd", false}, {"", "sda", false}, {"sda", "", false}, {"", "", false},
	} {
		if got := (Volume{Disk: c.a}).SharesDisk(Volume{Disk: c.b}); got != c.want {
			t.Errorf("%q and %q: %v, want %v", c.a, c.b, got, c.want)
		}
	}
}
