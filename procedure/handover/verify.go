package handover

import (
	"fmt"
	"strings"

	"twobin/guard/manifest"
	"twobin/procedure"
)

// Verify says how the rolls of a drive are checked with general tools, one line each, a command in a line of its own
// that begins with four blanks. xxhsum is the program of the xxHash project; ASC MHL the open standard of the lists.
func (d Drive) Verify() []string {
	if len(d.Folders) == 0 {
		return nil
	}
	top := "With xxhsum, in a shell at the top of the drive:"
	if d.Path != "" {
		top = "With xxhsum, in a shell, in the folder that was " + d.Path + " on the day:"
	}
	out := []string{top}
	for _, f := range d.Folders {
		if f == "" {
			f = "."
		}
		out = append(out, "    (cd "+quote(f)+" && xxhsum -c *"+manifest.ListExt+")")
	}
	return append(out, "Or with any reader of ASC MHL, on a roll's folder: its history lies in "+manifest.Folder+" there.",
		"Both must find every file equal, and as many files as the list of rolls says.")
}

// quote makes a path one word for a shell, relative to the drive's top.
func quote(s string) string {
	if strings.Trim(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_./-") == "" && !strings.HasPrefix(s, "-") {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

// labelWidth is how wide a label's lines are: what fits a sticker of 62 mm in ten points (this project's own choice).
const labelWidth = 34

// Labels is a short text for a sticker on each drive, of at most ten lines of [labelWidth] columns.
func (d Doc) Labels() []string {
	var out []string
	for i := range d.Drives {
		out = append(out, d.label(&d.Drives[i]))
	}
	return out
}

func (d Doc) label(k *Drive) string {
	var good, bad []procedure.Label
	for _, r := range k.Rolls {
		if r.Proven {
			good = append(good, procedure.Label(r.Label))
		} else {
			bad = append(bad, procedure.Label(r.Label))
		}
	}
	lines := []string{d.Production, k.Name, fmt.Sprintf("day %d  %s  station %s", d.Day, d.Date, d.Station)}
	if d.Drill != "" {
		lines = append([]string{"DRILL " + d.Drill}, lines...)
	}
	most := 3
	if k.Doubt != "" {
		most--
	}
	lines = append(lines, fold(procedure.LabelRuns(good), labelWidth, most)...)
	lines = append(lines, procedure.Plural(len(good), "roll")+" proven, "+procedure.SizeText(k.Bytes))
	if k.Doubt != "" {
		lines = append(lines, k.Doubt)
	}
	if len(bad) > 0 {
		lines = append(lines, fold(append([]string{"do not use:"}, procedure.LabelRuns(bad)...), labelWidth, 1)...)
	}
	if d.Code != "" {
		lines = append(lines, "code "+d.Code)
	}
	for i, l := range lines {
		if r := []rune(l); len(r) > labelWidth {
			lines[i] = string(r[:labelWidth-1]) + "…"
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// fold breaks words into lines; the last of them says how many words had no room.
func fold(words []string, width, most int) []string {
	var lines []string
	line := ""
	for i, w := range words {
		next := strings.TrimSpace(line + " " + w)
		last := len(lines) == most-1
		left := len(words) - i - 1
		room := width
		if last && left > 0 {
			room -= len(fmt.Sprintf(" +%d more", left))
		}
		if len(next) > room {
			if last {
				return append(lines, fmt.Sprintf("%s +%d more", line, left+1))
			}
			lines, line = append(lines, line), w
			continue
		}
		line = next
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
