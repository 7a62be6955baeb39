package board

import (
	"maps"
	"slices"
	"time"

	"twobin/procedure"
)

// Board is the state of a shift at one moment, for showing. Texts in it are safe to show ([procedure.Plain]). Times are
// wall clock with offset, spans are in milliseconds, sizes in bytes.
type Board struct {
	// Drill is the drill's name; empty in a shift.
	Drill      string    `json:"drill,omitempty"`
	Production string    `json:"production"`
	Day        int       `json:"day"`
	Date       string    `json:"date"`
	Station    string    `json:"station"`
	Operator   string    `json:"operator"`
	At         time.Time `json:"at"`
	Ready      bool      `json:"ready"`
	Closed     bool      `json:"closed"`
	Cameras    []Camera  `json:"cameras"`
	// Lingers are rolls that wait longer than they should, and all on hold; the longest over its limit first.
	Lingers []Linger `json:"lingers"`
	Drives  []Drive  `json:"drives"`
	// Waiting counts the rolls that have no proven copies yet, those on hold included.
	Waiting int `json:"waiting"`
	// UsualBytes is the median size of the rolls proven in this shift; 0 when there is none.
	UsualBytes int64 `json:"usual_bytes"`
	// HourBytes is how much was proven in an hour, on average since the first roll came in; 0 when not known.
	HourBytes int64    `json:"hour_bytes"`
	Notes     []Note   `json:"notes"`
	Totals    Totals   `json:"totals"`
	OpenAtEnd []string `json:"open_points,omitempty"`
}

// Camera is one row.
type Camera struct {
	Letter  string `json:"camera"`
	Colour  string `json:"colour"`
	Rolls   []Roll `json:"rolls"`
	Missing []int  `json:"missing"`
}

// Roll is one roll in its place.
type Roll struct {
	Label  string    `json:"label"`
	Number int       `json:"number"`
	Place  string    `json:"place"`
	Next   string    `json:"next,omitempty"`
	Since  time.Time `json:"since"`
	ForMS  int64     `json:"for_ms"`
	// Hold is the reason of an open hold; empty for none.
	Hold   string `json:"hold,omitempty"`
	Copy   string `json:"copy"`
	Bytes  int64  `json:"bytes,omitempty"`
	Erased bool   `json:"erased,omitempty"`

	place procedure.Place
}

// Linger is a roll that waits too long.
type Linger struct {
	Label   string `json:"label"`
	Place   string `json:"place"`
	ForMS   int64  `json:"for_ms"`
	LimitMS int64  `json:"limit_ms,omitempty"`
	// Hold is the reason when the roll is on hold.
	Hold string `json:"hold,omitempty"`
}

// Note is an open note of the day.
type Note struct {
	ID   int    `json:"id"`
	On   string `json:"on,omitempty"` // a label, or a camera letter
	Text string `json:"text"`
}

// Totals counts rolls.
type Totals struct {
	Rolls    int   `json:"rolls"`
	Proven   int   `json:"proven"`
	Hold     int   `json:"on_hold"`
	Returned int   `json:"returned"`
	Missing  int   `json:"missing"`
	Bytes    int64 `json:"bytes"`
}

// Now is the moment of a wall clock's time as far as a shift's journal can tell: on the monotonic clock of the last run
// up to the last event, and from there on by the wall clock, never backwards. This is for other processes than the one
// that works the shift: they have no share in its monotonic clock.
func Now(s *procedure.Shift, wall time.Time) procedure.Moment {
	since := time.Duration(0)
	if !s.Last.Wall.IsZero() {
		since = max(0, wall.Sub(s.Last.Wall))
	}
	return procedure.Moment{Wall: wall, Run: s.Last.Run, Mono: s.Last.Mono + since}
}

// Of makes the board of a shift at a wall-clock time. Room on the drives is reckoned from what they had at set-up and
// what was copied since; [Board.WithFree] puts in what they have now.
func Of(s *procedure.Shift, now time.Time) Board {
	at := Now(s, now)
	b := Board{
		Operator: procedure.Plain(s.Operator), At: now, Ready: s.Ready, Closed: s.Closed,
		Cameras: []Camera{}, Lingers: []Linger{}, Drives: []Drive{}, Notes: []Note{},
	}
	if o := s.Opened; o != nil {
		b.Drill, b.Production, b.Day = procedure.Plain(o.Drill), procedure.Plain(o.Production), o.Day
		b.Date, b.Station = procedure.Plain(o.Date), procedure.Plain(o.Station)
	}
	for _, p := range s.OpenPoints {
		b.OpenAtEnd = append(b.OpenAtEnd, procedure.Plain(p))
	}
	b.Cameras = cameras(s, at)
	b.Lingers = lingers(s, at)
	b.count(s)
	b.UsualBytes, b.HourBytes = usual(s), hourly(s, at)
	b.Drives = drives(s, &b)
	for _, n := range s.Notes {
		if n.Done {
			continue
		}
		on := string(n.Roll)
		if on == "" {
			on = string(n.Camera)
		}
		b.Notes = append(b.Notes, Note{ID: n.ID, On: procedure.Plain(on), Text: procedure.Plain(n.Text)})
	}
	return b
}

func (b *Board) count(s *procedure.Shift) {
	for _, l := range s.Order {
		r := s.Rolls[l]
		b.Totals.Rolls++
		if r.Copy == procedure.CopyIsProven {
			b.Totals.Proven++
			b.Totals.Bytes += r.Bytes
		} else {
			b.Waiting++
		}
		if r.Held != nil {
			b.Totals.Hold++
		}
		if r.Place == procedure.PlaceReturned {
			b.Totals.Returned++
		}
	}
	for _, c := range b.Cameras {
		b.Totals.Missing += len(c.Missing)
	}
}

// cameras gives one row a camera, in the order of set-up, then any that only rolls name, by letter.
func cameras(s *procedure.Shift, now procedure.Moment) []Camera {
	rows := []Camera{}
	index := map[procedure.Camera]int{}
	row := func(c procedure.Camera) *Camera {
		i, ok := index[c]
		if !ok {
			i = len(rows)
			index[c] = i
			rows = append(rows, Camera{Letter: string(c), Colour: procedure.Plain(s.Colour(c)), Rolls: []Roll{}, Missing: []int{}})
		}
		return &rows[i]
	}
	for _, c := range s.Cameras {
		row(c.Camera)
	}
	missing := s.Missing()
	for _, c := range slices.Sorted(maps.Keys(missing)) {
		for _, l := range missing[c] {
			k := row(c)
			k.Missing = append(k.Missing, l.Number())
		}
	}
	for _, l := range s.Order {
		k := row(l.Camera())
		k.Rolls = append(k.Rolls, roll(s.Rolls[l], now))
	}
	return rows
}

func roll(r *procedure.Roll, now procedure.Moment) Roll {
	d, _ := now.Since(r.Since)
	out := Roll{
		Label: string(r.Label), Number: r.Label.Number(), Place: r.Place.String(), place: r.Place,
		Since: r.Since.Wall, ForMS: max(0, d).Milliseconds(), Bytes: r.Bytes, Copy: copyWord(r.Copy), Erased: r.Erased,
	}
	if r.Step != procedure.StepNone {
		out.Next = r.Step.Spec().Title
	}
	if r.Held != nil {
		out.Hold = procedure.Plain(r.Held.Reason)
		if out.Hold == "" {
			out.Hold = "no reason given"
		}
	}
	return out
}

func copyWord(c procedure.CopyState) string {
	switch c {
	case procedure.CopyRunning:
		return "copying"
	case procedure.CopyIsProven:
		return "proven"
	case procedure.CopyIsFailed:
		return "failed"
	case procedure.CopyNone:
	}
	return "not copied"
}
