package command

import (
	"os"
	"path/filepath"
	"testing"
)

// TestFreeBase: a second close gets the number 2; a sheet of which one form is there is passed over whole.
func TestFreeBase(t *testing.T) {
	t.Parallel()
	base := filepath.Join(t.TempDir(), "[x]_sheet")
	for _, c := range []struct{ make, want string }{
		{"", base},
		{base + ".csv", base + "_2"},
		{base + "_2.html", base + "_3"},
		{base + "_3.xlsx", base + "_4"},
	} {
		if c.make != "" {
			if err := os.WriteFile(c.make, nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := freeBase(base); err != nil || got != c.want {
			t.Errorf("with %q: %q, %v, want %q", c.make, got, err, c.want)
		}
	}
}
