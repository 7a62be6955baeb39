package procedure

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"twobin/guard"
)

// begin takes what the command line answered, as far as it goes.
func (r *Runner) begin() {
	g := r.cfg.Given
	d := &r.draft
	if r.shift.Opened == nil {
		d.production, d.day, d.operator, d.station = strings.TrimSpace(g.Production), g.Day, strings.TrimSpace(g.Operator), strings.TrimSpace(g.Station)
		r.openIfKnown()
	} else if g.Operator != "" && g.Operator != r.shift.Operator && !r.shift.Closed {
		_ = r.record("", OperatorChanged{From: r.shift.Operator, To: g.Operator}) // a broken journal is told by record
	}
	if r.shift.Opened != nil {
		r.destsHere()
		r.takeDestinations()
	}
	r.tellPartly()
	d.camerasDone = r.shift.Ready
	d.toDone = r.shift.Ready || len(g.To) > 0
}

// tellPartly says, when the program is started again, which erase was cut off.
func (r *Runner) tellPartly() {
	for _, roll := range r.shift.At(PlaceGreenBin) {
		if roll.Partly && !roll.Erased {
			r.notify(Notice{Grade: "stop", What: string(roll.Label) + ": its erase was cut off part of the way.", Safe: "its proven copies on the drives are untouched.",
				Do: "do not erase here again. Return it (r); have it formatted in the camera."})
		}
	}
}

// takeDestinations probes those of the command line that are not in use yet.
func (r *Runner) takeDestinations() {
	for _, p := range r.cfg.Given.To {
		if !r.usesPath(p) {
			_ = r.addDestination(p) // told as a notice; the set-up then asks for another
		}
	}
}

func (r *Runner) usesPath(p string) bool {
	abs, err := filepath.Abs(p)
	for _, d := range r.shift.Dests {
		if err == nil && d.Path == abs {
			return true
		}
	}
	return false
}

// openIfKnown opens the journal as soon as production, day, operator and station are known.
func (r *Runner) openIfKnown() {
	d := &r.draft
	if d.production == "" || d.day == 0 || d.operator == "" || d.station == "" || r.book != nil {
		return
	}
	now := r.cfg.Now()
	o := ShiftOpened{
		Production: d.production, Day: d.day, Date: now.Format(time.DateOnly), Station: d.station, Operator: d.operator,
		Drill: r.cfg.Drill, Seed: r.cfg.Seed, Coach: r.cfg.Coach, Tool: r.cfg.Tool,
		Policy: PolicyNote{
			Destinations: r.cfg.Policy.Destinations, Recheck: r.cfg.Policy.Recheck.String(),
			StartMS: r.cfg.Policy.StartWithin.Milliseconds(), DeskMS: r.cfg.Policy.DeskWithin.Milliseconds(),
			EraseMS: r.cfg.Policy.EraseWithin.Milliseconds(),
		},
	}
	if r.cfg.Known != nil {
		o.Known = r.cfg.Known(d.production)
	}
	b, lines, err := r.cfg.OpenBook(o)
	if err == nil {
		err = r.take(b, lines)
	}
	if err != nil {
		r.broken = fmt.Errorf("open the journal: %w", err)
		r.notify(Notice{Grade: "stop", What: "The journal of this shift cannot be opened.", Safe: "nothing was begun.",
			Do: "see the cause, put it right, start again.", Cause: Plain(err.Error())})
		return
	}
	if r.shift.Opened == nil {
		if err := r.record("", o); err != nil {
			return
		}
	}
	r.takeDestinations()
}

func (r *Runner) answerSetUp(p *Prompt, v string) error {
	d := &r.draft
	switch p.ID {
	case "setup.production", "setup.day", "setup.operator", "setup.station":
		return r.answerOpening(p.ID, v)
	case "setup.camera":
		if v == "" && len(r.shift.Cameras) > 0 {
			d.camerasDone = true
			return nil
		}
		return r.addCamera(v)
	case "setup.marking":
		if v == "" {
			return r.refuse("", p.ID, "Nothing was written.", "agree with the camera department how a full card is marked.")
		}
		return r.record("", MarkingAgreed{Answered: r.answered(), Text: v})
	case "setup.kit":
		if v == "m" {
			return r.refuse("", p.ID, "The kit is not complete.", "get what is missing before the first card comes.")
		}
		return r.record("", KitChecked{Answered: r.answered()})
	case "setup.bins":
		if v == "x" {
			return r.refuse("", p.ID, "The bins do not stand as agreed.", "red bin to the left of the work area, green bin to the right.")
		}
		return r.record("", BinsPlaced{r.answered()})
	case "setup.to":
		if v == "" && len(r.shift.Dests) >= r.shift.limits().Destinations {
			d.toDone = true
			return nil
		}
		return r.addDestination(v)
	case "setup.done":
		return r.record("", SetUpDone{r.answered()})
	}
	return nil
}

func (r *Runner) answerOpening(id, v string) error {
	d := &r.draft
	if v == "" {
		return r.refuse("", id, "Nothing was written.", "")
	}
	switch id {
	case "setup.production":
		d.production = v
	case "setup.day":
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 || n > 9999 {
			return r.refuse("", id, fmt.Sprintf("%q is not a shoot day: a number from 1 to 9999.", clip(v, 20)), "")
		}
		d.day = n
	case "setup.operator":
		d.operator = v
	case "setup.station":
		d.station = v
	}
	r.openIfKnown()
	return nil
}

// addCamera takes "A blue".
func (r *Runner) addCamera(v string) error {
	letter, colour, _ := strings.Cut(strings.TrimSpace(v), " ")
	c, err := ParseCamera(letter)
	colour = strings.ToLower(strings.TrimSpace(colour))
	if err == nil {
		err = r.shift.CheckCamera(c, colour)
	}
	if err != nil {
		return r.refuse("", "setup.camera", sentence(err.Error()), "letter, blank, colour: A blue.")
	}
	return r.record("", CameraSet{Answered: r.answered(), Camera: c, Colour: colour})
}

// addDestination probes a path and takes it into use. Its name is the volume's own name if it is the mount point, else
// the folder's.
func (r *Runner) addDestination(v string) error {
	v = strings.TrimSpace(v)
	if v == "" {
		return r.refuse("", "setup.to", "No path.", "the folder or drive where copies go.")
	}
	abs, err := filepath.Abs(v)
	if err != nil {
		return r.refuse("", "setup.to", sentence(err.Error()), "")
	}
	if r.cfg.Reader != "" {
		if LiesIn(abs, r.cfg.Reader) || LiesIn(r.cfg.Reader, abs) {
			r.notify(Notice{Grade: "stop", What: clip(abs, 40) + " is the reader, or holds it, or lies in it.", Safe: "nothing was written there.",
				Do: "choose a destination apart from the reader."})
			return r.refusedQuietly("setup.to", "a destination apart from the reader is needed")
		}
	}
	vol, err := r.cfg.Media.Probe(r.ctx, abs)
	if err != nil {
		n := Notice{Grade: "stop", What: clip(abs, 40) + " cannot be used.", Safe: "nothing was written there.",
			Do: "check the path, or choose another.", Cause: Plain(err.Error())}
		if ge := asGuard(err); ge != nil && ge.Kind == guard.KindGone {
			n.What = clip(abs, 40) + " is not there."
		} else if ge != nil && ge.Kind == guard.KindStalled {
			n.What, n.Do = clip(abs, 40)+" does not answer.", "a drive that wakes up needs a moment: try again. Then cable and power, or another drive."
		} else if ge != nil {
			n = FaultNotice("", ge)
		}
		r.notify(n)
		return r.refusedQuietly("setup.to", Plain(err.Error()))
	}
	if why := r.notSeparate(abs, vol); why != "" {
		return r.refusedQuietly("setup.to", why)
	}
	name := r.shift.freeName(destName(abs, vol.Name, vol.Mount), abs, vol)
	if err := r.record("", DestinationSet{Answered: r.answered(), Destination: Destination{Name: name, Path: abs, Volume: vol}}); err != nil {
		return err
	}
	r.found(name)
	if r.shift.Ready {
		r.notify(Notice{Grade: "info", What: Plain(name) + " is in use from the next copy on."})
	}
	if vol.ID == "" {
		r.notify(Notice{Grade: "look", What: Plain(name) + " has no identity of its own: it cannot be told from another drive at its place.",
			Safe: "copies on it are proven all the same.", Do: "cards that are copied to it cannot be erased here. To erase here: drop " + Plain(name) + ", take another drive.", lasting: true})
	}
	return nil
}

// notSeparate says, and tells, why a volume is no device of its own beside the destinations in use, as these are seen now;
// empty when it is one.
func (r *Runner) notSeparate(path string, vol guard.Volume) string {
	if vol.Disk == "" {
		r.notify(Notice{Grade: "stop", What: "The system does not tell on which physical device " + clip(path, 40) + " is.",
			Safe: "nothing was written there.", Do: "choose a destination on a drive of its own."})
		return "on no device that is known"
	}
	found := r.askDests(r.shift.Dests)
	for i, d := range r.shift.Dests {
		was := d.Volume
		if f := found[i]; f.err == nil && f.v.ID != "" && f.v.ID == was.ID {
			was = f.v // it may have another device name than at the set-up
		}
		if was.SharesDisk(vol) {
			r.notify(Notice{Grade: "stop", What: fmt.Sprintf("%s and %s are on one physical device, as far as the system tells.", clip(path, 30), Plain(d.Name)),
				Safe: "nothing was written there.", Do: "choose a destination on a separate drive."})
			return "not a separate device from " + d.Name
		}
	}
	return ""
}

// refusedQuietly journals a no whose notice has been given.
func (r *Runner) refusedQuietly(asked, why string) error {
	ref := &Refusal{Asked: asked, Due: r.shift.Due(r.lane), Why: why}
	if r.book != nil {
		r.refused("", ref)
	}
	return ref
}

// destName makes a short name of letters, digits and dashes, upper case.
func destName(path, volume, mount string) string {
	base := filepath.Base(path)
	if volume != "" && filepath.Clean(path) == filepath.Clean(mount) {
		base = volume
	}
	name := strings.Map(func(c rune) rune {
		switch {
		case c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-':
			return c
		}
		return '-'
	}, strings.ToUpper(base))
	name = strings.Trim(name, "-")
	const longest = 12
	if len(name) > longest {
		name = strings.Trim(name[:longest], "-")
	}
	if name == "" {
		name = "DRIVE"
	}
	return name
}

// freeName makes a destination's name one that no other has had in this shift: copies are told apart by it, also those on
// a drive that was dropped. The same folder of the same volume gets back the name it had.
func (s *Shift) freeName(name, path string, v guard.Volume) string {
	for _, d := range s.Dropped {
		if v.ID != "" && d.Volume.ID == v.ID && d.inside() == (Destination{Path: path, Volume: v}).inside() {
			if _, used := s.Dest(d.Name); !used {
				return d.Name
			}
		}
	}
	for n := 1; ; n++ {
		t := name
		if n > 1 {
			t = fmt.Sprintf("%s-%d", name, n)
		}
		_, used := s.Dest(t)
		if !used && !slices.ContainsFunc(s.Dropped, func(d Destination) bool { return d.Name == t }) {
			return t
		}
	}
}

// inside is where the destination lies within its volume, wherever that is mounted.
func (d Destination) inside() string {
	rel, err := filepath.Rel(d.Volume.Mount, d.Path)
	if err != nil {
		return d.Path
	}
	return rel
}

// Folder is where a roll's copy stands below a destination: <production>/<shoot day>_<date>/<camera>/<label>.
func (s *Shift) Folder(l Label) string {
	o := s.Opened
	return fmt.Sprintf("%s/day%03d_%s/%s/%s", FolderName(o.Production), o.Day, o.Date, l.Camera(), l)
}

// FolderName makes a production's name fit for every file system: letters, digits, dash and underscore, up to 40
// characters; never empty.
func FolderName(s string) string {
	name := strings.Map(func(c rune) rune {
		switch {
		case c >= 'A' && c <= 'Z', c >= 'a' && c <= 'z', c >= '0' && c <= '9', c == '-', c == '_':
			return c
		}
		return '_'
	}, strings.TrimSpace(s))
	const longest = 40
	if len(name) > longest {
		name = name[:longest]
	}
	if strings.Trim(name, "_-") == "" {
		return "production"
	}
	return name
}
