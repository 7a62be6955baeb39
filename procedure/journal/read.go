package journal

import (
	"bytes"
	"fmt"
	"io"
	"os"
)

// Damage is the first place at which a journal stops being whole. All lines before it are good.
type Damage struct {
	// Line is the number of the damaged line, from 1.
	Line int `json:"line"`
	// Offset is where that line begins, in bytes from the start of the file.
	Offset int64 `json:"offset"`
	// What says what is wrong, as the end of a sentence that begins "line 12: ".
	What string `json:"what"`
	// Torn: this is what a crash in the middle of an append leaves behind. Nothing that was acknowledged is in it. Open
	// sets it aside; seen while another process has the journal open, it is an append under way.
	Torn bool `json:"torn"`
}

// String is the damage in one line.
func (d *Damage) String() string {
	return fmt.Sprintf("line %d (byte %d): %s", d.Line, d.Offset, d.What)
}

// Read reads a whole journal without changing anything. The lines are those before the first damage, of which there is
// none if Damage is nil. The error is one of reading only.
func Read(r io.Reader) ([]Line, *Damage, error) {
	raw, err := io.ReadAll(r)
	if err != nil {
		return nil, nil, fmt.Errorf("read journal: %w", err)
	}
	lines, damage := Parse(raw)
	return lines, damage, nil
}

// ReadFile is Read of the file at path. It takes no lock, so it may run while another process appends.
func ReadFile(path string) ([]Line, *Damage, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, fmt.Errorf("read journal: %w", err)
	}
	lines, damage := Parse(raw)
	return lines, damage, nil
}

// Parse is Read of bytes in memory. The lines' Data are parts of raw, so raw must not be changed while they are used.
func Parse(raw []byte) ([]Line, *Damage) {
	if len(raw) == 0 {
		return nil, nil
	}
	lines := make([]Line, 0, bytes.Count(raw, []byte{'\n'}))
	p := newParser()
	var prev *Line
	for at := 0; at < len(raw); {
		text, _, ended := bytes.Cut(raw[at:], []byte{'\n'})
		l, what := Line{}, "does not end in a newline"
		if ended {
			l, what = p.parse(text)
		}
		if what == "" {
			what = follows(prev, &l)
		}
		if what != "" {
			d := &Damage{Line: len(lines) + 1, Offset: int64(at), What: what}
			d.Torn = torn(raw, at, prev)
			return lines, d
		}
		lines = append(lines, l)
		prev = &lines[len(lines)-1]
		at += len(text) + 1
	}
	return lines, nil
}

// follows says why l cannot be the line after prev (nil: l is the first), or nothing.
func follows(prev, l *Line) string {
	before, seq, run, mono := genesis(), int64(0), 0, l.Mono
	if prev != nil {
		before, seq, run, mono = prev.Sum, prev.Seq, prev.Run, prev.Mono
	}
	if l.Event == EventOpened {
		run, mono = run+1, 0
	}
	switch {
	case l.Prev != before && prev == nil:
		return "is not the first line of a journal in the format " + Format
	case l.Prev != before:
		return "does not follow the line before: a line is missing, added or changed"
	case l.Seq != seq+1:
		return fmt.Sprintf("has the number %d, want %d", l.Seq, seq+1)
	case l.Run != run || run == 0:
		return fmt.Sprintf("belongs to run %d, want %d", l.Run, run)
	case l.Mono < mono:
		return "its monotonic time lies before that of the line before"
	}
	return ""
}
