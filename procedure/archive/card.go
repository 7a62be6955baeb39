package archive

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/sheet"
)

// Card is one card over all shifts, by the serial number that was logged; without one, by its file system's identity,
// which a format in the camera may change.
type Card struct {
	Serial string `json:"serial,omitempty"`
	ID     string `json:"id,omitempty"`
	// Rolls are what it carried, oldest first.
	Rolls []CardRoll `json:"rolls"`
}

// CardRoll is one roll that a card carried.
type CardRoll struct {
	Production string    `json:"production"`
	Day        int       `json:"day"`
	Label      string    `json:"label"`
	Bytes      int64     `json:"bytes"`
	Came       time.Time `json:"came"`
	Returned   time.Time `json:"returned,omitzero"`
	Erase      string    `json:"erase"`
	Place      string    `json:"place"`
	Holds      []string  `json:"holds,omitempty"`
}

// Cards gives every card's history, by serial number.
func (a *Archive) Cards() []Card {
	type key struct{ serial, id string }
	by := map[key]*Card{}
	for _, j := range a.shifts(sheet.Query{}) {
		rows := sheet.Rows(j.Shift, j.Entries, nil)
		for i := range rows {
			r := &rows[i]
			k := key{serial: strings.ToUpper(strings.TrimSpace(r.Serial))}
			if k.serial == "" {
				k.id = r.CardID
			}
			if k == (key{}) {
				continue
			}
			c := by[k]
			if c == nil {
				c = &Card{Serial: k.serial, ID: k.id}
				by[k] = c
			}
			c.Rolls = append(c.Rolls, CardRoll{
				Production: r.Production, Day: r.Day, Label: r.Label, Bytes: r.Bytes, Came: r.Came, Returned: r.Returned, Erase: r.Erase,
				Place: r.Where(), Holds: r.Holds,
			})
		}
	}
	var out []Card
	for _, c := range by {
		slices.SortStableFunc(c.Rolls, func(x, y CardRoll) int { return x.Came.Compare(y.Came) })
		out = append(out, *c)
	}
	slices.SortFunc(out, func(x, y Card) int { return cmp.Or(cmp.Compare(x.Serial, y.Serial), cmp.Compare(x.ID, y.ID)) })
	return out
}

// Card gives one card's history by its serial number, in any case. ok is false when no roll was logged with it.
func (a *Archive) Card(serial string) (Card, bool) {
	for _, c := range a.Cards() {
		if c.Serial != "" && strings.EqualFold(c.Serial, strings.TrimSpace(serial)) {
			return c, true
		}
	}
	return Card{}, false
}

// Drive is one destination over all shifts: its name and the identity of its file system, since two drives may be
// called the same.
type Drive struct {
	Name   string       `json:"name"`
	ID     string       `json:"id,omitempty"`
	FSType string       `json:"fstype,omitempty"`
	Size   int64        `json:"size,omitempty"`
	Rolls  []DriveRoll  `json:"rolls"`
	Bytes  int64        `json:"bytes"`
	Volume guard.Volume `json:"-"`
}

// DriveRoll is one roll on a drive.
type DriveRoll struct {
	Production string `json:"production"`
	Day        int    `json:"day"`
	Label      string `json:"label"`
	Folder     string `json:"folder"`
	Files      int    `json:"files"`
	Bytes      int64  `json:"bytes"`
	Result     string `json:"result"`
	Proven     bool   `json:"proven"`
}

// Drives gives every drive that rolls were copied to, by name, with all its rolls in order of arrival.
func (a *Archive) Drives() []Drive {
	type key struct{ name, id string }
	by := map[key]*Drive{}
	for _, j := range a.shifts(sheet.Query{}) {
		volumes := map[string]guard.Volume{}
		for _, e := range j.Entries {
			if d, ok := e.Event.(procedure.DestinationSet); ok {
				volumes[procedure.Plain(d.Destination.Name)] = d.Volume
			}
		}
		rows := sheet.Rows(j.Shift, j.Entries, nil)
		for i := range rows {
			for _, d := range rows[i].Dests {
				if d.Folder == "" {
					continue
				}
				v := volumes[d.Name]
				k := key{d.Name, v.ID}
				if by[k] == nil {
					by[k] = &Drive{Name: d.Name, ID: procedure.Plain(v.ID), FSType: procedure.Plain(v.FSType), Size: v.Size, Volume: v}
				}
				by[k].add(&rows[i], d)
			}
		}
	}
	var out []Drive
	for _, d := range by {
		out = append(out, *d)
	}
	slices.SortFunc(out, func(x, y Drive) int { return cmp.Or(cmp.Compare(x.Name, y.Name), cmp.Compare(x.ID, y.ID)) })
	return out
}

func (d *Drive) add(r *sheet.Row, x sheet.Dest) {
	d.Rolls = append(d.Rolls, DriveRoll{
		Production: r.Production, Day: r.Day, Label: r.Label, Folder: x.Folder, Files: r.Files, Bytes: r.Bytes, Result: x.Result, Proven: x.Proven,
	})
	if x.Proven {
		d.Bytes += r.Bytes
	}
}

// Drive gives the drives of that name, in any case, or with that identity.
func (a *Archive) Drive(name string) []Drive {
	var out []Drive
	for _, d := range a.Drives() {
		if strings.EqualFold(d.Name, name) || d.ID != "" && d.ID == name {
			out = append(out, d)
		}
	}
	return out
}

// Text is a card's history for reading, ended by a newline.
func (c Card) Text() string {
	var b strings.Builder
	name := "card " + c.Serial
	if c.Serial == "" {
		name = "card without a logged serial number, " + c.ID
	}
	fmt.Fprintf(&b, "%s: %s\n", name, many(len(c.Rolls), "roll"))
	for _, r := range c.Rolls {
		fmt.Fprintf(&b, "  %s  %s, day %d, %s, %s, %s", r.Label, r.Production, r.Day, r.Came.Format("2006-01-02 15:04"), r.Place, r.Erase)
		if len(r.Holds) > 0 {
			fmt.Fprintf(&b, ", was on hold: %s", strings.Join(r.Holds, "; "))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// Text is what stands on a drive, for reading, ended by a newline.
func (d Drive) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s (%s): %s, %s proven\n", d.Name, d.ID, many(len(d.Rolls), "roll"), procedure.SizeText(d.Bytes))
	for _, r := range d.Rolls {
		fmt.Fprintf(&b, "  %s  %s, day %d, %s, %s, %s: %s\n", r.Label, r.Production, r.Day, many(r.Files, "file"), procedure.SizeText(r.Bytes), r.Folder, r.Result)
	}
	return b.String()
}

// many counts things: "1 roll", "2 rolls".
func many(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}
