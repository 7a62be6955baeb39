package command

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"twobin/procedure"
	"twobin/procedure/archive"
	"twobin/procedure/sheet"
)

// closeSheet gives what writes the log sheet of a shift at its close: CSV, XLSX and HTML into the folder sheets of the
// data folder, which needs no drive to be there. A sheet of an earlier close stays as it is; the new one gets a number.
func closeSheet(home string, now func() time.Time) func(context.Context, *procedure.Shift) ([]string, error) {
	return func(_ context.Context, s *procedure.Shift) ([]string, error) {
		o := s.Opened
		ar, err := archive.Open(home)
		if err != nil {
			return nil, err
		}
		sh, err := ar.Sheet(sheet.Query{Production: o.Production, Day: o.Day, Station: o.Station}, now(), "twobin "+Version)
		if err != nil {
			return nil, err
		}
		dir := filepath.Join(home, "sheets")
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return nil, fmt.Errorf("make the folder of the sheets: %w", err)
		}
		base, err := freeBase(filepath.Join(dir, fmt.Sprintf("%s_%s_%s_sheet", procedure.FolderName(o.Production), dayName(o.Day), procedure.FolderName(o.Station))))
		if err != nil {
			return nil, err
		}
		return sheet.CreateAll(sheet.Form{Path: base + ".csv", Write: sh.WriteCSV}, sheet.Form{Path: base + ".xlsx", Write: sh.WriteXLSX},
			sheet.Form{Path: base + ".html", Write: sh.WriteHTML})
	}
}

// freeBase gives base, or base with the first number from 2 on, of which no form is there yet.
func freeBase(base string) (string, error) {
	for n := 1; ; n++ {
		name, free := base+suffix(n), true
		for _, ext := range []string{".csv", ".xlsx", ".html"} {
			switch _, err := os.Lstat(name + ext); {
			case err == nil:
				free = false
			case !errors.Is(err, fs.ErrNotExist):
				return "", fmt.Errorf("look for a free name: %w", err)
			}
		}
		if free {
			return name, nil
		}
	}
}
