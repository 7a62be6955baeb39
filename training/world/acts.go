package world

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/training/drill"
)

// Act does what the trainee wants to do outside, in the words "answer", "ask", "give", "swap", "free DRIVE" or
// "open DRIVE". It is journaled. The error says which words there are.
func (w *World) Act(text string) error {
	name, arg, _ := strings.Cut(strings.ToLower(strings.TrimSpace(text)), " ")
	acts := []string{drill.ActAnswer, drill.ActAsk, drill.ActGive, drill.ActSwap, drill.ActFree, drill.ActOpen}
	if !slices.Contains(acts, name) {
		return fmt.Errorf("%q is nothing that hands do here: %s", procedure.Plain(name), strings.Join(acts, ", "))
	}
	arg = strings.ToUpper(strings.TrimSpace(arg))
	w.mu.Lock()
	desk := w.desk
	var roll procedure.Label
	if r := w.scene.shift.InLane(lane); r != nil {
		roll = r.Label
	}
	w.mu.Unlock()
	if desk == nil {
		return errors.New("the drill has not begun")
	}
	var listing []string
	if name == drill.ActOpen {
		listing = w.listing(arg, roll)
	}
	if name == drill.ActAsk {
		w.mu.Lock()
		arg = w.scene.open()
		w.mu.Unlock()
	}
	if err := desk.Record(roll, procedure.Incident{Kind: drill.ActKind, ID: name, Text: arg}); err != nil {
		return err
	}
	w.mu.Lock()
	w.shown = listing
	w.mu.Unlock()
	desk.Nudge()
	return nil
}

// listing is what stands in a roll's folder on a drive, one paragraph a folder.
func (w *World) listing(name string, roll procedure.Label) []string {
	w.mu.Lock()
	d := w.drives[name]
	folder := ""
	if roll != "" {
		folder = w.scene.shift.Folder(roll)
	}
	gone := d != nil && d.gone
	w.mu.Unlock()
	switch {
	case d == nil:
		return []string{"There is no drive of that name: " + name}
	case gone:
		return []string{name + " does not show up on the computer."}
	}
	at := path.Join(drivesDir, name, folder)
	var out []string
	err := fs.WalkDir(w.root.FS(), at, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if !e.IsDir() {
			return nil
		}
		if e.Name() == "ascmhl" || strings.HasPrefix(e.Name(), ".") {
			return fs.SkipDir
		}
		es, err := fs.ReadDir(w.root.FS(), p)
		if err != nil {
			return err
		}
		var names []string
		for _, f := range es {
			if !f.IsDir() {
				names = append(names, f.Name())
			}
		}
		if len(names) > 0 {
			rel := strings.TrimPrefix(strings.TrimPrefix(p, path.Join(drivesDir, name)), "/")
			out = append(out, fmt.Sprintf("%s, %s: %s", name, last(rel, folder, roll), strings.Join(names, "  ")))
		}
		return nil
	})
	if err != nil || len(out) == 0 {
		return []string{fmt.Sprintf("%s: there is no %s here.", name, lastPart(folder))}
	}
	return out
}

// last is a folder's name as a file browser shows it: from the roll's folder on.
func last(rel, folder string, roll procedure.Label) string {
	if roll == "" {
		return rel
	}
	return string(roll) + strings.TrimPrefix(rel, folder)
}

func lastPart(p string) string { return path.Base(p) }
