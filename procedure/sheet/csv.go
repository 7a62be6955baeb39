package sheet

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// WriteCSV writes the sheet as RFC 4180: header, then one line a roll. Totals are not in it, since a CSV is one table.
func (s *Sheet) WriteCSV(w io.Writer) error {
	cols := s.columns()
	out := csv.NewWriter(w)
	out.UseCRLF = true
	line := make([]string, len(cols))
	for i, c := range cols {
		line[i] = harmless(c.title)
	}
	if err := out.Write(line); err != nil {
		return fmt.Errorf("write the sheet as CSV: %w", err)
	}
	for i := range s.Rows {
		for j, c := range cols {
			line[j] = text(c.value(&s.Rows[i]))
		}
		if err := out.Write(line); err != nil {
			return fmt.Errorf("write the sheet as CSV: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write the sheet as CSV: %w", err)
	}
	return nil
}

// Create writes a new file whole: flushed and closed, or removed again when anything fails. A file of that name is left
// as it is, and the error then wraps [fs.ErrExist].
func Create(path string, write func(io.Writer) error) (err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already and was left as it is; give another name: %w", path, err)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		err = fmt.Errorf("write %s: %w", path, err)
		if rerr := os.Remove(path); rerr != nil {
			err = errors.Join(err, rerr)
		}
	}
	return err
}
