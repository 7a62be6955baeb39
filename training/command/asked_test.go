package command

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure/command"
	"twobin/training/drill"
	"twobin/training/practice"
)

// sized plays a volume of a size.
type sized map[string]guard.Volume

func (s sized) Identify(p string) (guard.Volume, error) {
	v, ok := s[p]
	if !ok {
		return v, errors.New("not there")
	}
	return v, nil
}

// A drill that would not fit is refused before anything is made, and it is said what takes how much, and what to do.
func TestRoom(t *testing.T) {
	t.Parallel()
	d, _ := drill.Find(drill.FirstRoll)
	o := practice.Options{Drill: d, Seed: 1, Size: 64e6, Below: "/temp", Card: "/card"}
	need := o.NewPlan().Room()
	for name, c := range map[string]struct {
		in   sized
		want []string // empty: taken
	}{
		"room":         {sized{"/temp": {Size: 1e12, Free: need}, "/card": {Size: 1e9}}, nil},
		"full":         {sized{"/temp": {Size: 1e12, Free: need - 1}, "/card": {Size: 1e9}}, []string{"/temp", "first-roll", "Nothing was written", "a smaller --size", "TMPDIR"}},
		"small card":   {sized{"/temp": {Size: 1e12, Free: need}, "/card": {Size: 20e6}}, []string{"/card", "20.0 MB in all", "another card"}},
		"does not say": {sized{"/temp": {}, "/card": {}}, nil},
		"no answer":    {sized{}, []string{"/temp", "not there", "Nothing was written", "leave --size out"}},
	} {
		err := room(o, c.in)
		if (err == nil) != (c.want == nil) || err != nil && command.CodeOf(err) != command.CodeUsage {
			t.Errorf("%s: %v", name, err)
		}
		for _, w := range c.want {
			if err != nil && !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q lacks %q", name, err, w)
			}
		}
	}
	o.Size = 0
	if err := room(o, sized{}); err != nil {
		t.Errorf("small cards, no answer: %v", err)
	}
}

// The policy file is read as for a shift; one that is not there, or laxer than the rules, is refused by its word.
func TestPracticeConfig(t *testing.T) {
	t.Parallel()
	file := func(text string) string {
		name := filepath.Join(t.TempDir(), "policy.toml")
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return name
	}
	c := Practice{}
	c.Config = file("destinations = 3\nstart_within = \"20s\"\n")
	if p, err := c.policy(); err != nil || p.Destinations != 3 || p.StartWithin != 20*time.Second {
		t.Errorf("policy = %+v, %v", p, err)
	}
	for text, want := range map[string]string{"start_within = \"5m\"": "start_within", "destinations = 1": "destinations", "colour = 1": "colour", "": "no such file"} {
		c := Practice{Trainee: "Kim", Speed: 1}
		if c.Config = file(text); text == "" {
			c.Config += ".gone"
		}
		a, out := app(t, strings.NewReader(""))
		err := c.Run(a)
		if command.CodeOf(err) != command.CodeUsage || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") || out.Len() > 0 {
			t.Errorf("%q: %v, %q", text, err, out)
		}
	}
}

// What would be ignored is refused, by name.
func TestPracticeAgrees(t *testing.T) {
	t.Parallel()
	for want, c := range map[string]Practice{
		"a drill": {List: true, Drill: "phone"}, "--seed": {List: true, Seed: 3}, "--size": {List: true, Size: "1MB"}, "--plain": {List: true, Plain: true},
		"--coach": {Show: true, Coach: "brief"}, "--speed": {Speed: 3}, "--show": {List: true, Show: true},
	} {
		c.Trainee = "Kim"
		if c.Speed == 0 {
			c.Speed = 1
		}
		a, out := app(t, strings.NewReader(""))
		err := c.Run(a)
		if command.CodeOf(err) != command.CodeUsage || !strings.HasPrefix(err.Error(), want+" does not go with ") || out.Len() > 0 {
			t.Errorf("%s: %v, %q", want, err, out)
		}
	}
}

// A killed drill's sandbox is named and removed.
func TestSweepSaysSo(t *testing.T) {
	t.Parallel()
	below := t.TempDir()
	dir := filepath.Join(below, "twobin_drill_123")
	text := "everything in this folder belongs to a twobin drill and may be removed\nfullest card in bytes, 0 for a small one: 0\n"
	if err := errors.Join(os.Mkdir(dir, 0o755), os.WriteFile(filepath.Join(dir, "twobin-drill-sandbox"), []byte(text), 0o644)); err != nil {
		t.Fatal(err)
	}
	var said []string
	say := func(l string) error { said = append(said, l); return nil }
	for range 2 {
		if err := sweep(practice.Options{Below: below}, say); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Stat(dir); len(said) != 1 || !strings.Contains(said[0], dir) || !errors.Is(err, os.ErrNotExist) {
		t.Errorf("said %q, %v", said, err)
	}
}
