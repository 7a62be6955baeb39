package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
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
