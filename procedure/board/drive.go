package board

import (
	"slices"
	"time"

	"twobin/procedure"
)

// Drive is the room on one destination.
type Drive struct {
	Name string `json:"name"`
	// Gone: its volume is not there now.
	Gone bool `json:"gone,omitempty"`
	// Free is bytes; -1 when not known.
	Free int64 `json:"free"`
	// Reckoned: Free is what it had at set-up less what was copied there since, not what the system says now.
	Reckoned bool `json:"reckoned,omitempty"`
	// Rolls is how many rolls of the usual size still fit, Hours how long the room lasts at today's rate; -1 when not
	// known.
	Rolls int     `json:"rolls_left"`
	Hours float64 `json:"hours_left"`
	// Short: the rolls that wait for their copies will not all fit, by the usual size.
	Short bool `json:"short,omitempty"`
}

// minRate is the shortest time from which a rate by the hour is told: before that one roll more or less doubles it.
const minRate = 15 * time.Minute

// usual is the median size of the proven rolls, the lower one of two.
func usual(s *procedure.Shift) int64 {
	var sizes []int64
	for _, r := range s.Rolls {
		if r.Copy == procedure.CopyIsProven && r.Bytes > 0 {
			sizes = append(sizes, r.Bytes)
		}
	}
	if len(sizes) == 0 {
		return 0
	}
	slices.Sort(sizes)
	return sizes[(len(sizes)-1)/2]
}

// hourly is bytes proven in an hour since the first roll came in, breaks included: that is what fills the drives.
func hourly(s *procedure.Shift, now procedure.Moment) int64 {
	if len(s.Order) == 0 {
		return 0
	}
	end := now
	if s.Closed {
		end = s.Last
	}
	d, _ := end.Since(s.Rolls[s.Order[0]].Came)
	var n int64
	for _, r := range s.Rolls {
		if r.Copy == procedure.CopyIsProven {
			n += r.Bytes
		}
	}
	if d < minRate || n == 0 {
		return 0
	}
	return int64(float64(n) / d.Hours())
}

func drives(s *procedure.Shift, b *Board) []Drive {
	out := []Drive{}
	for _, d := range s.Dests {
		free := int64(-1)
		if d.Volume.Size > 0 {
			free = d.Volume.Free
			for _, r := range s.Rolls {
				for _, c := range r.Copies {
					if c.Name == d.Name {
						free -= r.Bytes
					}
				}
			}
			free = max(0, free)
		}
		out = append(out, b.drive(Drive{Name: procedure.Plain(d.Name), Gone: s.GoneDests[d.Name], Free: free, Reckoned: free >= 0}))
	}
	return out
}

// drive fills in what follows from the free bytes.
func (b *Board) drive(d Drive) Drive {
	d.Rolls, d.Hours, d.Short = -1, -1, false
	if d.Free < 0 {
		return d
	}
	if b.UsualBytes > 0 {
		d.Rolls = int(min(d.Free/b.UsualBytes, 1<<31-1))
		d.Short = d.Rolls < b.Waiting
	}
	if b.HourBytes > 0 {
		d.Hours = float64(d.Free) / float64(b.HourBytes)
	}
	return d
}

// WithFree gives the board with what the drives have free now, in bytes by the destination's name; a name that is not
// in free keeps what it had.
func (b Board) WithFree(free map[string]int64) Board {
	b.Drives = slices.Clone(b.Drives)
	for i, d := range b.Drives {
		if n, ok := free[d.Name]; ok && n >= 0 {
			d.Free, d.Reckoned = n, false
			b.Drives[i] = b.drive(d)
		}
	}
	return b
}
