package read

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

const suffix = ".jsonl"

// Home lists the journals of a data folder: shifts, then drills. A folder that is not there holds none.
func Home(home string) ([]string, error) {
	var out []string
	for _, sub := range []string{"journals", "drills"} {
		dir := filepath.Join(home, sub)
		if _, err := os.Stat(dir); err != nil && os.IsNotExist(err) {
			continue
		}
		found, err := Find(dir)
		if err != nil {
			return nil, err
		}
		out = append(out, found...)
	}
	return out, nil
}

// Find lists the journals in paths, sorted and each once: a file is taken as it is, of a folder all files below it that
// end in .jsonl. The error names a path that cannot be read.
func Find(paths ...string) ([]string, error) {
	var out []string
	for _, p := range paths {
		st, err := os.Stat(p)
		if err != nil {
			return nil, fmt.Errorf("find journals: %w", err)
		}
		if !st.IsDir() {
			out = append(out, filepath.Clean(p))
			continue
		}
		err = filepath.WalkDir(p, func(name string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.Type().IsRegular() && strings.EqualFold(filepath.Ext(name), suffix) {
				out = append(out, name)
			}
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("find journals: %w", err)
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}
