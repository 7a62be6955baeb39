package sheet

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/guard"
	"twobin/guard/manifest"
	"twobin/procedure"
	"twobin/procedure/clips"
)

// Row is one roll. Texts are safe to show, not safe as markup or formula; the writers see to that. Times are wall clock,
// zero where it did not happen or is not known; sizes are bytes.
type Row struct {
	Production string
	// Drill names the drill; empty in a shift.
	Drill   string
	Day     int
	Date    string
	Station string
	Camera  string
	Colour  string
	Label   string
	// Serial is the card's serial number as logged; CardID is how the system tells the card's file system.
	Serial string
	CardID string
	// Files and Bytes are as proven, or as found on the card while no proof is there; FilesKnown false: neither.
	Files      int
	Bytes      int64
	FilesKnown bool
	// First and Last are the first and last recording time on the card.
	First, Last time.Time
	// Place is where the roll is, Next what is due; both in the words of the screen.
	Place string
	Next  string
	// Safe: proven, looked at, marked, in the green bin or handed back, and on no hold.
	Safe  bool
	Dests []Dest
	// The times of a roll, in their order.
	Came, Started, Proven, Green, Erased, Returned time.Time
	// Erase is "erased", "partly erased" or "not erased".
	Erase     string
	From, To  string
	Operators []string
	Passes    int
	Backs     int
	Holds     []string
	Notes     []string
	Questions []string
	// Proof is the SHA-256 of the proof file; Problem says why the proof could not be read.
	Proof   string
	Problem string
}

// Dest is what became of a roll on one destination.
type Dest struct {
	Name   string
	Proven bool
	// Result is in words: "proven, read back from the device", "failed: …", "not counted: …".
	Result string
	// Folder is the roll's folder below the destination, List the hash list beside it.
	Folder string
	List   string
}

// Reader makes rows. It keeps what it needs to find equal files over all shifts of a production that it was given.
type Reader struct {
	load  func(sha string) (*guard.Proof, error)
	index map[string]*clips.Index // by production
}

// NewReader makes a Reader; load gives a proof by the SHA-256 of its file, and is called by several goroutines at once.
// Nil: proofs are not asked for, and rows have no recording times and no questions.
func NewReader(load func(sha string) (*guard.Proof, error)) *Reader {
	return &Reader{load: load, index: map[string]*clips.Index{}}
}

// of is the index of a shift's production.
func (rd *Reader) of(s *procedure.Shift) *clips.Index {
	ix := rd.index[s.Opened.Production]
	if ix == nil {
		ix = &clips.Index{}
		rd.index[s.Opened.Production] = ix
	}
	return ix
}

// Learn takes in a shift of which no rows are wanted: equal files of it are asked about in rows of later ones. A proof
// that cannot be read is left out.
func (rd *Reader) Learn(s *procedure.Shift) {
	if s.Opened == nil || rd.load == nil {
		return
	}
	loaded, stop := rd.ahead(s)
	defer stop()
	ix := rd.of(s)
	for _, l := range s.Order {
		if s.Rolls[l].Proof == "" {
			continue
		}
		if got := <-<-loaded; got.err == nil {
			ix.Add(l, got.proof)
		}
	}
}

// Rows makes the rows of one shift, in order of arrival.
func Rows(s *procedure.Shift, entries []procedure.Entry, load func(sha string) (*guard.Proof, error)) []Row {
	return NewReader(load).Rows(s, entries)
}

// past is what the entries say about a roll beyond its state.
type past struct {
	operators []string
	copies    []procedure.CopyNote // by drive, the newest of each, also of an earlier pass
	backs     int
}

// Rows makes the rows of one more shift.
func (rd *Reader) Rows(s *procedure.Shift, entries []procedure.Entry) []Row {
	if s.Opened == nil {
		return nil
	}
	before := history(entries)
	rows := make([]Row, 0, len(s.Order))
	loaded, stop := rd.ahead(s)
	defer stop()
	for _, l := range s.Order {
		r := s.Rolls[l]
		h := before[l]
		if h == nil {
			h = &past{}
		}
		row := base(s, r, h)
		row.Dests = dests(s, r, h)
		for _, n := range s.Notes {
			if n.Roll == l {
				row.Notes = append(row.Notes, procedure.Plain(n.Text))
			}
		}
		if r.Proof != "" && rd.load != nil {
			got := <-<-loaded
			rd.proof(s, r, &row, got.proof, got.err)
		}
		rows = append(rows, row)
	}
	return rows
}

// keep takes in what a copy did to its drives. Files of an earlier copy stand on the others still.
func (h *past) keep(copies []procedure.CopyNote) {
	for _, c := range copies {
		i := slices.IndexFunc(h.copies, func(o procedure.CopyNote) bool { return o.Name == c.Name })
		if i < 0 {
			h.copies = append(h.copies, c)
			continue
		}
		h.copies[i] = c
	}
}

func history(entries []procedure.Entry) map[procedure.Label]*past {
	out := map[procedure.Label]*past{}
	for _, e := range entries {
		if e.Roll == "" {
			continue
		}
		h := out[e.Roll]
		if h == nil {
			h = &past{}
			out[e.Roll] = h
		}
		if op := procedure.Plain(e.Operator); op != "" && !slices.Contains(h.operators, op) {
			h.operators = append(h.operators, op)
		}
		switch ev := e.Event.(type) {
		case procedure.CopyProven:
			h.keep(ev.Copies)
		case procedure.CopyFailed:
			h.keep(ev.Copies)
		case procedure.CopyAdded:
			h.keep(ev.Copies)
		case procedure.PutBack:
			h.backs++
		}
	}
	return out
}

func base(s *procedure.Shift, r *procedure.Roll, h *past) Row {
	o := s.Opened
	row := Row{
		Production: procedure.Plain(o.Production), Drill: procedure.Plain(o.Drill), Day: o.Day, Date: procedure.Plain(o.Date),
		Station: procedure.Plain(o.Station), Camera: string(r.Label.Camera()), Colour: procedure.Plain(r.Colour),
		Label: procedure.Plain(string(r.Label)), Serial: procedure.Plain(r.Serial), CardID: procedure.Plain(r.CardID),
		Place: r.Place.String(), Safe: r.Held == nil && r.Copy == procedure.CopyIsProven && r.Binned,
		Came: r.Came.Wall, Erased: r.ErasedAt.Wall, Returned: r.ReturnedAt.Wall, Erase: "not erased",
		From: procedure.Plain(r.From), To: procedure.Plain(r.To), Operators: h.operators, Passes: r.Pass, Backs: h.backs,
		Proof: r.Proof,
	}
	switch {
	case r.Copy == procedure.CopyIsProven:
		row.Files, row.Bytes, row.FilesKnown = r.Files, r.Bytes, true
	case r.Scanned != nil:
		row.Files, row.Bytes, row.FilesKnown = r.Scanned.Files, r.Scanned.Bytes, true
	}
	// Times of an earlier pass count no more: only what this pass has reached.
	if r.Copy != procedure.CopyNone {
		row.Started = r.CopyAt.Wall
	}
	if r.Copy == procedure.CopyIsProven {
		row.Proven = r.ProvenAt.Wall
	}
	if r.Binned {
		row.Green = r.BinnedAt.Wall
	}
	if r.Step != procedure.StepNone {
		row.Next = strings.ToLower(r.Step.Spec().Title)
	}
	if r.Held != nil {
		row.Place = "on hold"
	}
	switch {
	case r.Erased:
		row.Erase = "erased"
	case r.Partly || r.Erasing:
		row.Erase = "partly erased"
	}
	for _, k := range r.Holds {
		row.Holds = append(row.Holds, procedure.Plain(k.Reason))
	}
	if r.Lacks != "" {
		row.Notes = append(row.Notes, procedure.Plain("came without: "+r.Lacks))
	}
	if r.Notes != "" {
		row.Notes = append(row.Notes, procedure.Plain(r.Notes))
	}
	return row
}

// dests says what became of a roll on every destination of the shift, and on those dropped since that hold a copy. Only
// the copies of the roll's last copy count; on other drives files of an earlier one stand, and do not.
func dests(s *procedure.Shift, r *procedure.Roll, h *past) []Dest {
	var out []Dest
	for _, c := range r.Copies {
		d := dest(r, c)
		switch {
		case c.Proven && r.Copy == procedure.CopyIsProven:
			d.Proven, d.Result = true, "proven"
			if c.Honesty != "" {
				d.Result += ", " + procedure.Plain(c.Honesty)
			}
		case c.Fault != "":
			d.Result = "failed: " + procedure.Plain(c.Fault)
		default:
			d.Result = "not proven"
		}
		out = append(out, d)
	}
	has := func(name string) bool {
		return slices.ContainsFunc(out, func(d Dest) bool { return d.Name == procedure.Plain(name) })
	}
	for _, c := range h.copies {
		if !has(c.Name) {
			d := dest(r, c)
			d.Result = "not counted: copied in an earlier pass"
			out = append(out, d)
		}
	}
	for _, k := range s.Dests {
		if !has(k.Name) {
			out = append(out, Dest{Name: procedure.Plain(k.Name), Result: "not copied"})
		}
	}
	return out
}

func dest(r *procedure.Roll, c procedure.CopyNote) Dest {
	d := Dest{Name: procedure.Plain(c.Name), Folder: procedure.Plain(c.Folder)}
	if d.Folder != "" {
		d.List = string(r.Label) + manifest.ListExt
	}
	return d
}

// proof fills in what only the proof has.
func (rd *Reader) proof(s *procedure.Shift, r *procedure.Roll, row *Row, p *guard.Proof, err error) {
	if err != nil {
		row.Problem = procedure.Plain("the proof could not be read: " + strings.Join(strings.Fields(err.Error()), " "))
		return
	}
	zone := s.OpenedAt.Wall.Location()
	if first, last := clips.Recorded(p.Files); !first.IsZero() {
		row.First, row.Last = first.In(zone), last.In(zone)
	}
	ix := rd.of(s)
	for _, q := range clips.Proof(r.Label, p, clips.FactsOf(s, r), ix) {
		row.Questions = append(row.Questions, q.Text)
	}
	ix.Add(r.Label, p)
}

// Where is the roll's place with what is due, for reading.
func (r *Row) Where() string {
	if r.Next == "" || r.Safe {
		return r.Place
	}
	return fmt.Sprintf("%s, next is %s", r.Place, r.Next)
}
