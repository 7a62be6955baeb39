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

// acts are the words of what a trainee can do outside, and otherWords those that mean one of them as well.
var (
	acts       = []string{drill.ActAnswer, drill.ActAsk, drill.ActGive, drill.ActSwap, drill.ActFree, drill.ActOpen}
	otherWords = map[string]string{"tell": drill.ActAsk, "cable": drill.ActSwap, "reader": drill.ActSwap}
)

// ActWord finds an act in what was typed: its word and what it is done to, in capitals; false when there is none.
func ActWord(text string) (name, arg string, ok bool) {
	name, arg, _ = strings.Cut(strings.ToLower(strings.TrimSpace(text)), " ")
	if also, is := otherWords[name]; is {
		name, arg = also, ""
	}
	return name, strings.ToUpper(strings.TrimSpace(arg)), slices.Contains(acts, name)
}

// Act does what the trainee wants to do outside, in the words "answer", "ask", "give", "swap", "free DRIVE" or
// "open DRIVE FOLDER"; without a folder all of them are opened. It is journaled. The error says which words there are; it
// is shown, too.
func (w *World) Act(text string) error {
	name, arg, ok := ActWord(text)
	if !ok {
		err := fmt.Errorf("%q is nothing that hands do here: %s", procedure.Plain(name), strings.Join(acts, ", "))
		w.say("That is nothing to be done here: " + procedure.Plain(name) + ". There is: answer, ask (the camera department; tell them), give (the card), swap (reader and cables), free DRIVE, open DRIVE.")
		return err
	}
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
		drive, folder, _ := strings.Cut(arg, " ")
		listing, arg = w.listing(drive, roll, asked(desk.View(), folder)), drive
	}
	if name == drill.ActAsk {
		prompt := ""
		if p := desk.View().Prompt; p != nil {
			prompt = p.ID
		}
		w.mu.Lock()
		arg = w.scene.open(prompt)
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

// asked is the folder that somebody wants to see: the one named, else the one that the sighted check asks about.
func asked(v procedure.View, named string) string {
	if named != "" || v.Prompt == nil {
		return named
	}
	_, after, ok := strings.Cut(v.Prompt.Question, "Open ")
	if !ok {
		return ""
	}
	folder, _, _ := strings.Cut(after, ". ")
	return path.Base(folder)
}

// listing is what stands in a roll's folder on a drive, one paragraph a folder; the one that somebody wants to see first.
func (w *World) listing(name string, roll procedure.Label, first string) []string {
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
	case roll == "":
		return []string{name + ": no roll is out of its bin, there is nothing to look for."}
	}
	at := path.Join(drivesDir, name, folder)
	var out, wanted []string
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
			here := fmt.Sprintf("%s, %s: %s", name, last(rel, folder, roll), strings.Join(names, "  "))
			if strings.EqualFold(path.Base(p), first) {
				wanted = append(wanted, here)
				return nil
			}
			out = append(out, here)
		}
		return nil
	})
	if out = append(wanted, out...); err != nil || len(out) == 0 {
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
