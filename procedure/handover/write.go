package handover

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"twobin/procedure"
	"twobin/procedure/sheet"
)

//go:embed handover.html
var handoverHTML string

// WriteHTML writes the hand-over as one page without anything from outside.
func (d Doc) WriteHTML(w io.Writer) error {
	funcs := sheet.Funcs()
	funcs["command"] = func(s string) string {
		if c, ok := strings.CutPrefix(s, "    "); ok {
			return c
		}
		return ""
	}
	t, err := template.New("handover").Funcs(funcs).Parse(handoverHTML)
	if err != nil {
		return fmt.Errorf("write the hand-over as HTML: %w", err)
	}
	if err := t.Execute(w, struct {
		Doc Doc
		CSS template.CSS
	}{d, sheet.CSS()}); err != nil {
		return fmt.Errorf("write the hand-over as HTML: %w", err)
	}
	return nil
}

// WriteLabels writes the drives' label texts, with an empty line between two.
func (d Doc) WriteLabels(w io.Writer) error {
	if _, err := io.WriteString(w, strings.Join(d.Labels(), "\n")); err != nil {
		return fmt.Errorf("write the drives' labels: %w", err)
	}
	return nil
}

// Base is the beginning of the files' names: production, day, station.
func (d Doc) Base() string {
	return fmt.Sprintf("%s_day%03d_%s", procedure.FolderName(d.Production), d.Day, procedure.FolderName(d.Station))
}

// Write puts the hand-over into a folder, which is made when it is not there: hand-over as HTML and, with pdf not nil,
// as PDF, the drives' labels, and the log sheet in its three forms. The names of what was written come back. When one of
// the files is there already nothing is written, and the error wraps [fs.ErrExist]. After another fault the files
// that could be written stay.
func Write(dir string, d Doc, s *sheet.Sheet, pdf func(w io.Writer, d Doc) error) ([]string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("write the hand-over: %w", err)
	}
	files := []struct {
		name  string
		write func(io.Writer) error
	}{
		{"handover.html", d.WriteHTML},
		{"handover.pdf", nil},
		{"drive-labels.txt", d.WriteLabels},
		{"sheet.csv", s.WriteCSV},
		{"sheet.xlsx", s.WriteXLSX},
		{"sheet.html", s.WriteHTML},
	}
	if pdf != nil {
		files[1].write = func(w io.Writer) error { return pdf(w, d) }
	}
	for _, f := range files {
		path := filepath.Join(dir, d.Base()+"_"+f.name)
		if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
			if err == nil {
				err = fs.ErrExist
			}
			return nil, fmt.Errorf("%s is there already; nothing was written, give another folder: %w", path, err)
		}
	}
	var forms []sheet.Form
	for _, f := range files {
		if f.write != nil {
			forms = append(forms, sheet.Form{Path: filepath.Join(dir, d.Base()+"_"+f.name), Write: f.write})
		}
	}
	return sheet.CreateAll(forms...)
}
