package doctor

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"twobin/guard"
)

// cardRoom is the free space below which a destination will hardly take a card (bytes; common practice, no source: the
// smallest cards in use hold 32 GB).
const cardRoom = 32e9

// watching judges whether cards will be seen.
func watching(ctx context.Context, env Env) Line {
	l := Line{Subject: "volumes", Mark: Fine}
	w, err := within(ctx, func() (Watching, error) { return env.Watch(ctx) })
	if err != nil {
		l.Mark, l.Seen = Stop, "cannot be watched: "+reason(err)+"."
		l.Do = "a fixed reader folder (--reader PATH) may still work."
		return l
	}
	n := fmt.Sprintf("%d mounted", len(w.Volumes))
	if w.Woken {
		l.Seen = n + "; the system reports every card at once."
	} else {
		l.Seen = n + "; looked at twice a second."
	}
	return l
}

// target is one destination as it was found.
type target struct {
	path   string
	volume guard.Volume
	err    error // it cannot be told what it is
	write  error // it may not be written to
	honest guard.Honesty
}

// destinations judges each, then whether they are separate.
func destinations(ctx context.Context, env Env) []Line {
	if len(env.To) == 0 {
		return []Line{{"destinations", Fine, "none named, none looked at. Name two or more: --to PATH.", ""}}
	}
	ts := make([]target, len(env.To))
	done := make(chan int)
	for i, p := range env.To {
		go func() {
			ts[i] = inspect(ctx, env, p)
			done <- i
		}()
	}
	for range ts {
		<-done
	}
	var lines []Line
	for i, t := range ts {
		lines = append(lines, destination(fmt.Sprintf("drive %d", i+1), t))
	}
	return append(lines, separate(ts))
}

func inspect(ctx context.Context, env Env, path string) target {
	t := target{path: path}
	t.volume, t.err = within(ctx, func() (guard.Volume, error) { return env.Identify(path) })
	if t.err == nil {
		_, t.write = within(ctx, func() (struct{}, error) { return struct{}{}, env.Writable(path) })
	}
	if t.err == nil && t.write == nil {
		t.honest, t.err = within(ctx, func() (guard.Honesty, error) { return env.Honesty(path) })
	}
	return t
}

// destination judges one drive by itself.
func destination(subject string, t target) Line {
	l := Line{Subject: subject, Mark: Fine}
	v := t.volume
	switch {
	case t.err != nil:
		l.Mark, l.Seen = Stop, fmt.Sprintf("%s: %s.", t.path, reasonOf(t.err))
		l.Do = "check cable, power and the path."
	case v.ReadOnly:
		l.Mark, l.Seen = Stop, t.path+": the drive is read-only."
		l.Do = "mount it for writing, or take another drive."
	case t.write != nil:
		l.Mark, l.Seen = Stop, fmt.Sprintf("%s: cannot be written to: %s.", t.path, reason(t.write))
		l.Do = "put the permission right, or take another folder."
	case t.honest == guard.NotPastCache:
		l.Mark = Look
		l.Seen = t.path + ": copies cannot be proven past the cache here" + typed(v.FSType) + "; no card can be erased on them."
		l.Do = "take a drive with another file system, or format in the camera only."
	case v.Free < cardRoom && v.Size > 0:
		l.Mark, l.Seen = Look, fmt.Sprintf("%s: %s free.", t.path, bytesText(v.Free))
		l.Do = "make room: that may be less than one card."
	case v.Size == 0:
		l.Mark, l.Seen = Look, t.path+": the drive does not tell its room."
		l.Do = "look yourself that there is room."
	default:
		l.Seen = fmt.Sprintf("%s: %s free%s.", t.path, bytesText(v.Free), typed(v.FSType))
	}
	return l
}

// reasonOf says why a destination cannot be told.
func reasonOf(err error) string {
	var g *guard.Error
	if errors.As(err, &g) {
		switch g.Kind {
		case guard.KindGone:
			return "it is not there"
		case guard.KindDenied:
			return "it may not be opened"
		}
	}
	return reason(err)
}

// separate judges the destinations together: two or more, on devices that do not fail together.
func separate(ts []target) Line {
	l := Line{Subject: "separate", Mark: Fine}
	on := make(map[string][]string)
	var missing, unknown []string
	for i, t := range ts {
		name := fmt.Sprintf("drive %d", i+1)
		switch {
		case t.err != nil:
			missing = append(missing, name)
		case t.volume.Disk == "":
			unknown = append(unknown, name)
		default:
			on[t.volume.Disk] = append(on[t.volume.Disk], name)
		}
	}
	const two = "take two or more drives, each a device of its own."
	for i, a := range ts {
		for _, b := range ts[:i] {
			if filepath.Clean(a.path) == filepath.Clean(b.path) {
				return Line{l.Subject, Stop, a.path + " is named twice.", two}
			}
		}
	}
	for _, t := range ts {
		if names := on[t.volume.Disk]; t.volume.Disk != "" && len(names) > 1 {
			return Line{l.Subject, Stop, fmt.Sprintf("%s lie on one device (%s) and fail together.",
				strings.Join(names, " and "), t.volume.Disk), two}
		}
	}
	switch {
	case len(ts) < 2:
		l.Mark, l.Seen, l.Do = Stop, "one destination is not enough.", two
	case len(missing) > 0:
		l.Mark, l.Seen = Look, "not known without "+strings.Join(missing, " and ")+"."
		l.Do = "see there first."
	case len(unknown) > 0:
		l.Mark = Look
		l.Seen = "the device of " + strings.Join(unknown, " and ") + " is not known; unknown never counts as separate."
		l.Do = "attach the drive directly, or count on formatting in the camera only."
	default:
		l.Seen = fmt.Sprintf("%d destinations on %d devices.", len(ts), len(on))
	}
	return l
}
