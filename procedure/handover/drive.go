package handover

import (
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/procedure/sheet"
)

// Drive is one destination.
type Drive struct {
	Name string
	// Volume is the drive's own name and file system, ID its identity.
	Volume string
	ID     string
	// Path is the destination as it was chosen at set-up; folders are below it.
	Path  string
	Rolls []Line
	// Files and Bytes count proven rolls only, NotProven the others that left something there.
	Files     int
	Bytes     int64
	NotProven int
	// Last is what the close's last look found there, in words; empty when the shift is not closed and no look was taken.
	Last string
	// Doubt says for the label why the counts are those of the journal only; empty when the last look saw the drive.
	Doubt string
	// Folders are the folders that hold the hash lists, below the drive, each once.
	Folders []string
}

// Line is one roll on a drive.
type Line struct {
	Label, Camera, Colour string
	Files                 int
	Bytes                 int64
	Folder, List          string
	Proven                bool
	Result                string
	// Late is what the close's last look found wrong with the copy.
	Late string
}

func drives(s *procedure.Shift, entries []procedure.Entry, rows []sheet.Row) []Drive {
	var out []Drive
	index := map[string]int{}
	for _, e := range entries {
		ev, ok := e.Event.(procedure.DestinationSet)
		if !ok {
			continue
		}
		k, v := ev.Destination, ev.Volume
		name := procedure.Plain(k.Name)
		if _, ok := index[name]; ok {
			continue
		}
		index[name] = len(out)
		out = append(out, Drive{Name: name, ID: procedure.Plain(v.ID), Path: procedure.Plain(k.Path), Volume: strings.TrimSpace(procedure.Plain(v.Name + " " + v.FSType))})
	}
	for i := range rows {
		r := &rows[i]
		for _, x := range r.Dests {
			if x.Folder == "" {
				continue
			}
			k, ok := index[x.Name]
			if !ok {
				k = len(out)
				index[x.Name] = k
				out = append(out, Drive{Name: x.Name})
			}
			out[k].add(r, x, procedure.Plain(s.Stood.Amiss(x.Name, procedure.Label(r.Label))))
		}
	}
	for i := range out {
		out[i].atClose(s)
	}
	// A drive that was dropped before anything was copied has nothing to hand over.
	return slices.DeleteFunc(out, func(d Drive) bool {
		_, used := s.Dest(d.Name)
		return len(d.Rolls) == 0 && !used
	})
}

// atClose fills in what the last look says of the drive, and what its counts rest on when it did not see it.
func (d *Drive) atClose(s *procedure.Shift) {
	const journal = "; what counts here is what the journal has"
	_, used := s.Dest(d.Name)
	says := procedure.Plain(s.Stood.Says(d.Name))
	switch {
	case !used:
		d.Last, d.Doubt = "not looked at, it was dropped during the day"+journal, "dropped in the day, not looked at"
	case strings.HasPrefix(says, "not seen"):
		d.Last, d.Doubt = says+journal, "not seen at close: by the journal"
	case says != "":
		d.Last = says
	case s.Closed:
		d.Last, d.Doubt = "not looked at"+journal, "no look at close: by the journal"
	default:
		d.Doubt = "shift not closed: by the journal"
	}
}

// add takes in a roll; late is what the last look found wrong with its copy. Such a copy counts no more than one that was
// never proven.
func (d *Drive) add(r *sheet.Row, x sheet.Dest, late string) {
	l := Line{Label: r.Label, Camera: r.Camera, Colour: r.Colour, Folder: x.Folder, List: x.List, Proven: x.Proven && late == "", Result: x.Result, Late: late}
	if x.Proven && late != "" {
		l.Result = "was proven; at the close: " + late
	}
	if l.Proven {
		l.Files, l.Bytes = r.Files, r.Bytes
		d.Files += r.Files
		d.Bytes += r.Bytes
		parent := ""
		if i := strings.LastIndexByte(x.Folder, '/'); i >= 0 {
			parent = x.Folder[:i]
		}
		if !slices.Contains(d.Folders, parent) {
			d.Folders = append(d.Folders, parent)
		}
	} else {
		d.NotProven++
	}
	d.Rolls = append(d.Rolls, l)
}

// CountText says how many rolls left something on the drive, and how much of it is proven.
func (d *Drive) CountText() string {
	return procedure.Plural(len(d.Rolls), "roll") + ", " + procedure.Plural(d.Files, "proven file") + ", " + procedure.SizeText(d.Bytes) + " proven."
}
