package command

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"twobin/procedure"
)

// shelf is a folder of the data folder where `twobin copy` leaves further copies for the shift that is at work: one small
// file each. It is no record: that is the journal, into which the shift takes them.
type shelf struct {
	dir string
	log *slog.Logger
}

func newShelf(home string, log *slog.Logger) shelf {
	return shelf{dir: filepath.Join(home, "further"), log: log}
}

// shelfEnding ends the name of every file on the shelf.
const shelfEnding = ".json"

// Add puts a copy there, whole or not at all.
func (s shelf) Add(f procedure.Further) error {
	data, err := json.Marshal(f)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return err
	}
	tmp, err := os.CreateTemp(s.dir, "*.tmp")
	if err != nil {
		return err
	}
	_, err = tmp.Write(data)
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), filepath.Join(s.dir, f.Proof+shelfEnding))
	}
	if err != nil {
		return errors.Join(fmt.Errorf("leave the copy for the shift: %w", err), os.Remove(tmp.Name()))
	}
	return nil
}

// List has what lies there, by name.
func (s shelf) List() []procedure.Further {
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return nil // mostly: there is no shelf
	}
	var out []procedure.Further
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), shelfEnding) || !e.Type().IsRegular() {
			continue
		}
		f := procedure.Further{ID: e.Name()}
		data, err := os.ReadFile(filepath.Join(s.dir, e.Name()))
		if err == nil {
			err = json.Unmarshal(data, &f)
		}
		if err == nil {
			_, err = procedure.ParseLabel(string(f.Roll))
		}
		if err != nil {
			s.log.Warn("further copy", "file", e.Name(), "err", err)
			continue
		}
		out = append(out, f)
	}
	return out
}

// Done takes one away.
func (s shelf) Done(id string) error { return os.Remove(filepath.Join(s.dir, filepath.Base(id))) }
