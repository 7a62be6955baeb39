package archive

import (
	"encoding/hex"
	"fmt"
	"strings"

	"twobin/guard"
	"twobin/guard/hashes"
	"twobin/procedure"
	"twobin/procedure/sheet"
)

// minHash is the fewest digits of a hash that are taken for one: fewer are found in every second file.
const minHash = 8

// Hit is a roll that was found, or a file of one. Texts are safe to show.
type Hit struct {
	Production string `json:"production"`
	Day        int    `json:"day"`
	Date       string `json:"date"`
	Station    string `json:"station"`
	Label      string `json:"label"`
	Place      string `json:"place"`
	// Path is the file's path on the card; empty when the roll itself was found.
	Path string `json:"path,omitempty"`
	Size int64  `json:"size"`
	// XXH64 is the file's hash.
	XXH64 string `json:"xxh64,omitempty"`
	// Copies says where it stands: "SHUTTLE: folder/path, proven".
	Copies  []string `json:"copies"`
	Journal string   `json:"journal"`
}

// Found is the answer to a search.
type Found struct {
	Hits []Hit `json:"hits"`
	// More is how many were found beyond those in Hits.
	More int `json:"more,omitempty"`
	// Shifts is how many were looked through.
	Shifts int `json:"shifts"`
	// Warnings say what could not be searched.
	Warnings []string `json:"warnings,omitempty"`
}

// Find looks for rolls and clips that every one of the words fits: a label, part of a clip's name, the beginning of a
// hash of a file or proof (8 digits or more), a whole serial number, part of the production's name. Upper and lower case do not
// matter. A roll whose own record fits all words is one hit; otherwise its files are looked at. most bounds the hits.
func (a *Archive) Find(words []string, most int) (Found, error) {
	var terms []string
	for _, w := range words {
		terms = append(terms, strings.Fields(strings.ToLower(w))...)
	}
	if len(terms) == 0 {
		return Found{}, fmt.Errorf("find: no words given; give a label, part of a clip's name, or a hash")
	}
	out := Found{Hits: []Hit{}, Warnings: a.Warnings()}
	for _, j := range a.shifts(sheet.Query{}) {
		out.Shifts++
		rows := sheet.Rows(j.Shift, j.Entries, nil)
		for i := range rows {
			a.findRoll(&rows[i], procedure.Plain(j.Path), terms, most, &out)
		}
	}
	return out, nil
}

func (a *Archive) findRoll(r *sheet.Row, path string, terms []string, most int, out *Found) {
	h := Hit{
		Production: r.Production, Day: r.Day, Date: r.Date, Station: r.Station, Label: r.Label, Place: r.Where(), Size: r.Bytes, Journal: path,
	}
	var rest []string
	for _, t := range terms {
		if !rollFits(r, t) {
			rest = append(rest, t)
		}
	}
	if len(rest) == 0 {
		h.Copies = copies(r, "")
		out.add(h, most)
		return
	}
	if r.Proof == "" || a.load == nil {
		return
	}
	p, err := a.load(r.Proof)
	if err != nil {
		out.Warnings = append(out.Warnings, procedure.Plain(fmt.Sprintf("the files of %s could not be searched: %v", r.Label, err)))
		return
	}
	for i := range p.Files {
		if !fileFits(p, i, rest) {
			continue
		}
		f := h
		f.Path, f.Size, f.XXH64 = procedure.Plain(p.Files[i].Path), p.Files[i].Size, hashes.Text64(p.Files[i].Hash)
		f.Copies = copies(r, f.Path)
		out.add(f, most)
	}
}

func (f *Found) add(h Hit, most int) {
	if len(f.Hits) >= most {
		f.More++
		return
	}
	f.Hits = append(f.Hits, h)
}

// rollFits: a whole label in any spelling, or part of what stands in the roll's line.
func rollFits(r *sheet.Row, t string) bool {
	if l, err := procedure.ParseLabel(t); err == nil {
		if string(l) == r.Label {
			return true
		}
	}
	if isHash(t) && strings.HasPrefix(r.Proof, t) {
		return true
	}
	return r.Serial != "" && strings.EqualFold(r.Serial, t) || strings.Contains(strings.ToLower(r.Production), t)
}

func isHash(t string) bool {
	if len(t) < minHash {
		return false
	}
	_, err := hex.DecodeString(t[:len(t)&^1])
	return err == nil
}

func fileFits(p *guard.Proof, i int, terms []string) bool {
	name := strings.ToLower(p.Files[i].Path)
	for _, t := range terms {
		if strings.Contains(name, t) {
			continue
		}
		if isHash(t) && strings.HasPrefix(hashes.Text64(p.Files[i].Hash), t) {
			continue
		}
		other := false
		if len(t) >= minHash {
			for _, texts := range p.Hashes {
				other = other || i < len(texts) && strings.HasPrefix(strings.ToLower(texts[i]), t)
			}
		}
		if !other {
			return false
		}
	}
	return true
}

// copies says where a roll, or a file of it, stands.
func copies(r *sheet.Row, path string) []string {
	out := []string{}
	for _, d := range r.Dests {
		if d.Folder == "" {
			continue
		}
		at := d.Folder
		if path != "" {
			at += "/" + path
		}
		out = append(out, fmt.Sprintf("%s: %s, %s", d.Name, at, d.Result))
	}
	return out
}

// Text is the answer for reading, ended by a newline.
func (f Found) Text() string {
	var b strings.Builder
	for _, w := range f.Warnings {
		fmt.Fprintf(&b, "know this: %s\n", w)
	}
	if len(f.Hits) == 0 {
		b.WriteString("nothing found")
		if f.Shifts == 0 {
			b.WriteString(": there is no shift to look through")
		}
		b.WriteString("\n")
	}
	for _, h := range f.Hits {
		fmt.Fprintf(&b, "%s  %s, day %d, %s, station %s: %s\n", h.Label, h.Production, h.Day, h.Date, h.Station, h.Place)
		if h.Path != "" {
			fmt.Fprintf(&b, "  file %s, %s, xxh64 %s\n", h.Path, procedure.SizeText(h.Size), h.XXH64)
		}
		for _, c := range h.Copies {
			fmt.Fprintf(&b, "  on %s\n", c)
		}
	}
	if f.More > 0 {
		fmt.Fprintf(&b, "and %d more; give more words\n", f.More)
	}
	return b.String()
}
