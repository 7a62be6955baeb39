package school

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/practice"
)

// Production is the invented production's name.
const Production = "Harbour Lights"

// Options shape the school; the zero value is the school of the demonstration.
type Options struct {
	// Seed: equal seeds give equal schools.
	Seed uint64
	// Weeks is how long it lasts; 0 is eight.
	Weeks int
	// DrillsAWeek is how many drills everybody does in a week; 0 is four. ShiftRolls is how many rolls a shift has; 0 is six.
	DrillsAWeek, ShiftRolls int
	// Profiles are who is there; nil is [Profiles].
	Profiles []Profile
}

// Begins is the Monday on which the school begins.
func Begins() time.Time { return time.Date(2031, 5, 5, 9, 0, 0, 0, time.FixedZone("", 2*3600)) }

// policy is the limits of the invented production: the program's defaults.
var policy = procedure.PolicyNote{Destinations: 2, StartMS: 30_000, DeskMS: 180_000, EraseMS: 60_000}

// Write writes the school's journals below home and gives their paths and how many events they have.
func Write(home string, o Options) (paths []string, events int, err error) {
	o.Weeks, o.DrillsAWeek, o.ShiftRolls = cmp.Or(o.Weeks, 8), cmp.Or(o.DrillsAWeek, 4), cmp.Or(o.ShiftRolls, 6)
	ps := o.Profiles
	if ps == nil {
		ps = Profiles()
	}
	s := &writer{home: home, o: o}
	for i, prof := range ps {
		h := fnv.New64a()
		fmt.Fprint(h, prof.Name) // a hash takes everything
		p := &person{Profile: prof, rng: rand.New(rand.NewPCG(o.Seed, h.Sum64())), passed: map[string]bool{}, met: map[drill.Kind]int{}}
		for week := max(1, prof.From); week <= o.Weeks; week++ {
			p.week = week
			if err := s.week(p, i); err != nil {
				return nil, 0, fmt.Errorf("invent the school's week %d of %s: %w", week, prof.Name, err)
			}
		}
	}
	return s.paths, s.events, nil
}

type writer struct {
	home   string
	o      Options
	paths  []string
	events int
}

// week: drills on the working days, a shift on Saturday from the third week on.
func (s *writer) week(p *person, place int) error {
	monday := Begins().AddDate(0, 0, 7*(p.week-1)).Add(time.Duration(place) * 7 * time.Minute)
	for n := range s.o.DrillsAWeek {
		at := monday.AddDate(0, 0, n*5/s.o.DrillsAWeek).Add(time.Duration(n) * 50 * time.Minute)
		if err := s.drill(p, at); err != nil {
			return err
		}
	}
	if p.week < 3 || p.week < p.From+2 {
		return nil
	}
	return s.shift(p, monday.AddDate(0, 0, 5), place)
}

// choose is the first drill that is not passed; later any one but the long day, which is rare.
func (p *person) choose() drill.Drill {
	ds := drill.Drills()
	for _, d := range ds {
		if d.Name != drill.LongDay && !p.passed[d.Name] {
			return d
		}
	}
	return ds[p.rng.IntN(len(ds)-1)]
}

// drill invents one drill.
func (s *writer) drill(p *person, at time.Time) error {
	dr := p.choose()
	seed := 1 + p.rng.Int64N(1_000_000)
	pl := drill.NewPlan(dr, seed)
	coach := practice.Brief
	switch {
	case dr.Stage == 1:
		coach = practice.Full
	case p.passed[dr.Name]:
		coach = practice.Silent
	}
	d, err := s.open(p, filepath.Join(practice.Folder(s.home, p.Name), fmt.Sprintf("%s_%s_%d.jsonl", at.Format("20060102-150405"), dr.Name, seed)), at,
		procedure.ShiftOpened{
			Production: pl.Production, Day: pl.Day, Date: at.Format("2006-01-02"), Station: "practice", Operator: p.Name, Drill: dr.Name, Seed: seed,
			Coach: string(coach), Policy: policy, Tool: "twobin school",
		})
	if err != nil {
		return err
	}
	d.setUp(pl.Cameras)
	walks, all := d.rolls(pl)
	d.work(walks)
	d.close()
	d.score(dr, all)
	return s.keep(d)
}

// rolls makes the plan's rolls the day's.
func (d *day) rolls(pl *drill.Plan) ([]*plan, []*happening) {
	var walks []*plan
	for _, r := range pl.Rolls {
		w := &plan{label: r.Label, from: r.From, erase: r.Erase, small: true}
		for _, i := range pl.Incidents {
			if i.Roll == r.Label {
				w.what = append(w.what, happening{Planned: i, verdict: d.p.verdict(i.Kind)})
			}
		}
		walks = append(walks, w)
	}
	var all []*happening
	for _, w := range walks {
		for i := range w.what {
			all = append(all, &w.what[i])
		}
	}
	return walks, all
}

// work: two rolls are received, then worked off one after the other; each is handed back when it is green.
func (d *day) work(walks []*plan) {
	const waiting = 2
	for i := 0; i < len(walks); i += waiting {
		batch := walks[i:min(i+waiting, len(walks))]
		for _, w := range batch {
			d.receive(w)
			d.wait(time.Duration(20+d.p.rng.IntN(60)) * time.Second)
		}
		for len(batch) > 0 && d.err == nil {
			d.walk(batch[0])
			d.giveBack(batch[0])
			batch = batch[1:]
		}
	}
}

// score journals what became of the incidents and of the drill.
func (d *day) score(dr drill.Drill, all []*happening) {
	var lacking []string
	late := 0
	for _, h := range all {
		if !h.done {
			continue
		}
		spec, _ := drill.SpecOf(h.Kind)
		why := map[drill.Verdict]string{drill.Right: spec.Right, drill.Late: spec.Late, drill.Wrong: spec.Wrong, drill.Missed: spec.Missed}[h.verdict]
		d.add("", procedure.IncidentScored{Kind: string(h.Kind), ID: h.ID, Result: h.verdict.String(), Why: why})
		switch h.verdict {
		case drill.Wrong, drill.Missed:
			lacking = append(lacking, fmt.Sprintf("%s: %s", h.Kind, h.verdict))
		case drill.Late:
			late++
		default:
		}
	}
	if late > dr.Late {
		lacking = append(lacking, fmt.Sprintf("%d incidents handled late, %d allowed", late, dr.Late))
	}
	if d.shift.Refusals > dr.Orders {
		lacking = append(lacking, fmt.Sprintf("%d things tried out of their order, %d allowed", d.shift.Refusals, dr.Orders))
	}
	outcome := drill.NotPassed
	if len(lacking) == 0 {
		outcome = drill.Passed
		d.p.passed[dr.Name] = true
	}
	d.add("", procedure.IncidentScored{Kind: drill.DrillKind, ID: dr.Name, Result: outcome.String(), Why: strings.Join(lacking, "; ")})
}

// shift invents one working day.
func (s *writer) shift(p *person, at time.Time, place int) error {
	station := fmt.Sprintf("cart %d", place+1)
	name := fmt.Sprintf("Harbour_Lights_D%02d_%s_%s.jsonl", p.week, at.Format("2006-01-02"), strings.ReplaceAll(station, " ", "_"))
	d, err := s.open(p, filepath.Join(s.home, "journals", name), at, procedure.ShiftOpened{
		Production: Production, Day: p.week, Date: at.Format("2006-01-02"), Station: station, Operator: p.Name, Policy: policy, Tool: "twobin school",
	})
	if err != nil {
		return err
	}
	d.setUp([]procedure.CameraInfo{{Camera: "A", Colour: "blue"}, {Camera: "B", Colour: "yellow"}})
	var walks []*plan
	next := map[procedure.Camera]int{"A": 20*p.week + 1, "B": 20*p.week + 1}
	for range s.o.ShiftRolls {
		c := procedure.Camera("A")
		if p.rng.IntN(3) == 0 {
			c = "B"
		}
		walks = append(walks, &plan{label: procedure.MakeLabel(c, next[c]), from: "Robin"})
		next[c]++
	}
	d.work(walks)
	d.close()
	return s.keep(d)
}

func (s *writer) open(p *person, path string, at time.Time, o procedure.ShiftOpened) (*day, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	s.paths = append(s.paths, path)
	return begin(path, p, at, o)
}

func (s *writer) keep(d *day) error {
	n, err := d.finish()
	s.events += n
	return err
}
