// Package harbour invents working days of an invented production, "Harbour Lights", for tests of the packages that fold
// a shift into something readable (sheet, hand-over, board, clips, archive). All in it is made up: people, labels, clip
// names, sizes. Every event goes through [procedure.Shift.Apply], so that what comes out is what a shift can come to.
//
// A Day is not safe for concurrent use. Nothing is written to disk but by [Day.WriteJournal].
package harbour

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash/fnv"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/journal"
)

// Production is the invented production's name.
const Production = "Harbour Lights"

// Day is a shift under way. Clock is the time that the next event gets; move it by [Day.Wait].
type Day struct {
	Shift   *procedure.Shift
	Entries []procedure.Entry
	Proofs  map[string]*guard.Proof
	Clock   time.Time

	start time.Time
	files map[procedure.Label][]guard.File
}

// Begin opens a shift at eight in the morning of 6 May 2031, as many days later as day says (from 1), summer time.
func Begin(day int, station, operator string) *Day {
	at := time.Date(2031, 5, 5+day, 8, 0, 0, 0, time.FixedZone("", 2*3600))
	return BeginAs(procedure.ShiftOpened{
		Production: Production, Day: day, Date: at.Format("2006-01-02"), Station: station, Operator: operator,
		Policy: procedure.PolicyNote{Destinations: 2, StartMS: 30_000, DeskMS: 180_000, EraseMS: 60_000}, Tool: "twobin test",
	}, at)
}

// BeginAs opens a shift as told.
func BeginAs(o procedure.ShiftOpened, at time.Time) *Day {
	d := &Day{
		Shift: procedure.NewShift(), Proofs: map[string]*guard.Proof{}, Clock: at, start: at,
		files: map[procedure.Label][]guard.File{},
	}
	d.Add("", procedure.RunBegan{OpenedData: journal.OpenedData{Format: journal.Format, Program: "twobin test"}})
	d.Add("", o)
	return d
}

// Wait moves the clock on.
func (d *Day) Wait(t time.Duration) { d.Clock = d.Clock.Add(t) }

// Add applies one event in lane 1 now. It panics when the routine refuses: the story would be one that cannot happen.
func (d *Day) Add(roll procedure.Label, ev procedure.Event) {
	e := procedure.Entry{
		At:   procedure.Moment{Wall: d.Clock, Run: 1, Mono: d.Clock.Sub(d.start)},
		Lane: 1, Operator: d.Shift.Operator, Roll: roll, Event: ev,
	}
	if d.Shift.Opened != nil {
		e.Station = d.Shift.Opened.Station
	}
	if err := d.Shift.Apply(e); err != nil {
		panic(fmt.Sprintf("harbour: %s %s: %v", ev.Name(), roll, err))
	}
	d.Entries = append(d.Entries, e)
	d.Wait(time.Second)
}

// Destination is a drive of the story with that many bytes free.
func Destination(name string, free int64) procedure.Destination {
	return procedure.Destination{Name: name, Path: "/media/" + name, Volume: guard.Volume{
		Mount: "/media/" + name, FSType: "ext4", Name: name, ID: "uuid:" + name, Disk: "disk-" + name, Size: 16e12, Free: free,
	}}
}

// SetUp does the set-up: cameras with colours in pairs ("A", "blue", "B", "yellow"), destinations SHUTTLE and RAID.
func (d *Day) SetUp(cameras ...string) {
	for i := 0; i+1 < len(cameras); i += 2 {
		d.Add("", procedure.CameraSet{Camera: procedure.Camera(cameras[i]), Colour: cameras[i+1]})
	}
	d.Add("", procedure.MarkingAgreed{Text: "red tape across the lid, label on it"})
	d.Add("", procedure.KitChecked{})
	d.Add("", procedure.BinsPlaced{})
	d.Add("", procedure.DestinationSet{Destination: Destination("SHUTTLE", 4e12)})
	d.Add("", procedure.DestinationSet{Destination: Destination("RAID", 12e12)})
	d.Add("", procedure.SetUpDone{})
}

// Receive lets a roll come in.
func (d *Day) Receive(l procedure.Label) {
	d.Add(l, procedure.RollReceived{From: "Robin", Colour: d.Shift.Colour(l.Camera())})
}

// Seat picks a roll, reads its label twice and seats its card.
func (d *Day) Seat(l procedure.Label) {
	r := d.Shift.Roll(l)
	d.Add(l, procedure.RollPicked{Pass: r.Pass + 1})
	d.Add(l, procedure.LabelRead{Where: "card", Read: string(l), Right: true})
	d.Add(l, procedure.LabelRead{Where: "tape", Read: string(l), Right: true})
	d.Add(l, procedure.TapeMoved{})
	d.Add(l, procedure.CardSeated{Volume: Card(l)})
	fs := d.Files(l)
	d.Add(l, procedure.CardScanned{Files: len(fs), Bytes: bytesOf(fs), ScanMS: 800})
}

// Card is the card of a roll: every camera has two, used in turn.
func Card(l procedure.Label) guard.Volume {
	id := fmt.Sprintf("%s-%d", l.Camera(), l.Number()%2)
	return guard.Volume{Mount: "/media/card", FSType: "vfat", Name: "CARD", ID: "uuid:card-" + id, Disk: "card-" + id, Size: 512e9}
}

// Copy starts the copy; it is not proven yet.
func (d *Day) Copy(l procedure.Label) {
	d.Add(l, procedure.CopyBegan{To: []string{"SHUTTLE", "RAID"}})
}

// Serial is the serial number on the sticker of a roll's card.
func Serial(l procedure.Label) string { return fmt.Sprintf("HL-%s%04d", l.Camera(), 1000+l.Number()%2) }

// Log fills in the log of a roll.
func (d *Day) Log(l procedure.Label, notes string) {
	d.Add(l, procedure.RollLogged{Serial: Serial(l), Notes: notes})
}

// Prove ends the copy with a proof on both drives.
func (d *Day) Prove(l procedure.Label) {
	p := d.proof(l)
	sum := sha256.Sum256(fmt.Appendf(nil, "%s pass %d of %s", l, d.Shift.Roll(l).Pass, d.start))
	sha := hex.EncodeToString(sum[:])
	d.Proofs[sha] = p
	ev := procedure.CopyProven{Proof: sha, Files: len(p.Files), Bytes: p.Bytes(), CopyMS: 540_000}
	for _, c := range p.Copies {
		ev.Copies = append(ev.Copies, procedure.CopyNote{Name: c.Name, Path: c.Path, Folder: c.Folder, Proven: true, Honesty: c.Honesty.String()})
	}
	d.Add(l, ev)
}

// Pull counts, ejects and pulls.
func (d *Day) Pull(l procedure.Label) {
	fs := d.Files(l)
	d.Add(l, procedure.CountShown{Files: len(fs), Bytes: bytesOf(fs)})
	d.Add(l, procedure.CountRead{What: "files", Read: fmt.Sprint(len(fs)), Right: true})
	d.Add(l, procedure.CountRead{What: "size", Read: procedure.SizeText(bytesOf(fs)), Right: true})
	d.Add(l, procedure.CardGone{Volume: Card(l)})
	d.Add(l, procedure.CardPulled{})
}

// Green looks at both drives, marks and bins.
func (d *Day) Green(l procedure.Label) {
	for _, dest := range []string{"SHUTTLE", "RAID"} {
		d.Add(l, procedure.DestLooked{Dest: dest, Question: "how many clips", Answer: "8", Right: true})
	}
	d.Add(l, procedure.RollMarked{})
	d.Add(l, procedure.RollBinned{})
}

// Return hands a roll back without an erase.
func (d *Day) Return(l procedure.Label) {
	d.Add(l, procedure.RollTaken{For: "return"})
	d.Add(l, procedure.RollReturned{To: "Robin"})
}

// Walk takes a roll that came in from the red bin to the green bin: nine minutes of copying.
func (d *Day) Walk(l procedure.Label) {
	d.Seat(l)
	d.Copy(l)
	d.Log(l, "")
	d.Wait(9 * time.Minute)
	d.Prove(l)
	d.Pull(l)
	d.Green(l)
}

// Erase seats a green roll again and erases it.
func (d *Day) Erase(l procedure.Label) {
	d.Add(l, procedure.RollTaken{For: "erase"})
	d.Add(l, procedure.CardSeated{Volume: Card(l)})
	d.Add(l, procedure.RollReseated{})
	var cs []guard.Condition
	for i := range 8 {
		cs = append(cs, guard.Condition{ID: fmt.Sprintf("L%d", i+1), Holds: true, Says: "holds"})
	}
	d.Add(l, procedure.LockLooked{Open: true, Conditions: cs, LookMS: 900})
	d.Add(l, procedure.EraseBegan{})
	d.Add(l, procedure.EraseDone{Files: len(d.Files(l)), Bytes: bytesOf(d.Files(l)), TookMS: 1200})
	d.Add(l, procedure.CardGone{Volume: Card(l)})
	d.Add(l, procedure.RollReturned{To: "Robin"})
}

// Close closes the shift, with whatever is open.
func (d *Day) Close() {
	d.Add("", procedure.CloseBegan{})
	d.Add("", procedure.TapesCounted{Counted: d.Shift.Handled(), Want: d.Shift.Handled(), Right: true})
	d.Add("", procedure.BookCounted{Counted: d.Shift.Lines(), Want: d.Shift.Lines(), Right: true})
	look := procedure.CopiesLooked{LookMS: 900}
	for _, k := range d.Shift.Dests {
		n := procedure.StandNote{Dest: k.Name, Seen: true}
		for _, r := range d.Shift.Rolls {
			for _, c := range r.Copies {
				if c.Name == k.Name && c.Proven {
					n.Rolls++
				}
			}
		}
		look.Rolls = max(look.Rolls, n.Rolls)
		look.Dests = append(look.Dests, n)
	}
	d.Add("", look)
	d.Add("", procedure.ShiftClosed{Open: d.Shift.Points()})
}

// Files are a roll's files: eight clips and a list, unless [Day.SetFiles] said otherwise.
func (d *Day) Files(l procedure.Label) []guard.File {
	if fs, ok := d.files[l]; ok {
		return fs
	}
	var fs []guard.File
	rec := d.start.Add(time.Duration(l.Number()) * 20 * time.Minute)
	for i := 1; i <= 8; i++ {
		fs = append(fs, File(l, fmt.Sprintf("CLIPS/%s_%04d.vid", l, i), int64(12+i)*1e9, rec.Add(time.Duration(i)*time.Minute)))
	}
	fs = append(fs, File(l, "INDEX.TXT", 812, rec.Add(9*time.Minute)))
	d.files[l] = fs
	return fs
}

// SetFiles gives a roll other files, sorted by path.
func (d *Day) SetFiles(l procedure.Label, fs ...guard.File) { d.files[l] = fs }

// File is a file of a roll; its hash follows from label and path.
func File(l procedure.Label, path string, size int64, at time.Time) guard.File {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s/%s", l, path)
	return guard.File{Entry: guard.Entry{Path: path, Size: size, MTime: at.UnixNano()}, Hash: h.Sum64()}
}

func bytesOf(fs []guard.File) int64 {
	var n int64
	for _, f := range fs {
		n += f.Size
	}
	return n
}

func (d *Day) proof(l procedure.Label) *guard.Proof {
	p := &guard.Proof{Label: string(l), Card: Card(l), Files: d.Files(l), Dirs: []string{"CLIPS"}, Began: d.Clock.Add(-9 * time.Minute), Ended: d.Clock}
	for _, dest := range d.Shift.Dests {
		c := guard.Copy{
			Name: dest.Name, Path: dest.Path, Volume: dest.Volume, Honesty: guard.FromDevice, LastWrite: d.Clock.Add(-time.Minute),
			ReadFrom: d.Clock.Add(-time.Minute), Folder: d.Shift.Folder(l),
		}
		for _, f := range p.Files {
			c.Back = append(c.Back, guard.Back{Hash: f.Hash, OK: true})
		}
		p.Copies = append(p.Copies, c)
	}
	return p
}

// unsynced leaves out the flush: what a test writes need not survive a power cut.
type unsynced struct{ journal.File }

// Sync does nothing.
func (unsynced) Sync() error { return nil }

// WriteJournal writes the day as a journal at path and gives its closing code.
func (d *Day) WriteJournal(path string) (code string, err error) {
	at := d.Entries[0].At
	j, _, err := journal.Open(path, journal.Options{
		Now: func() time.Time { return at.Wall }, Mono: func() time.Duration { return at.Mono },
		Station: d.Shift.Opened.Station, Program: "twobin test", Wrap: func(f journal.File) journal.File { return unsynced{f} },
	})
	if err != nil {
		return "", err
	}
	for _, e := range d.Entries[1:] {
		name, data, err := procedure.EncodeEvent(e.Event)
		if err != nil {
			return "", err
		}
		at = e.At
		if _, err := j.Append(context.Background(), journal.Line{
			Station: e.Station, Lane: e.Lane, Operator: e.Operator, Event: name, Roll: string(e.Roll), Data: data,
		}); err != nil {
			return "", err
		}
	}
	return j.Code(), j.Close()
}
