package doctor

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
)

// fake is an Env in which all is well; each case breaks one thing. All names are invented.
type fake struct {
	env      Env
	vars     map[string]string
	terminal Terminal
	trial    Trial
	wall     time.Time
	steady   time.Duration
	step     time.Duration // how much more than it should the wall clock moves while it is compared
	synced   Answer
	watching Watching
	watchErr error
	volumes  map[string]guard.Volume
	errs     map[string]error
	write    map[string]error
	honest   map[string]guard.Honesty
	tools    map[string]string
}

const gb = 1_000_000_000

func healthy() *fake {
	f := &fake{
		vars:     map[string]string{"TERM": "xterm-256color"},
		terminal: Terminal{In: true, Out: true, Width: 80, Height: 24},
		trial:    Trial{Volume: guard.Volume{FSType: "ext4", Size: 500 * gb, Free: 85 * gb}, Back: guard.FromDevice},
		wall:     time.Date(2026, 5, 4, 7, 30, 0, 0, time.FixedZone("", 2*3600)),
		synced:   Yes,
		watching: Watching{Woken: true, Volumes: make([]guard.Volume, 3)},
		volumes: map[string]guard.Volume{
			"/drives/one": {FSType: "ext4", Disk: "sdb", Size: 4000 * gb, Free: 3100 * gb},
			"/drives/two": {FSType: "xfs", Disk: "sdc", Size: 4000 * gb, Free: 412 * gb},
		},
		errs: map[string]error{}, write: map[string]error{}, honest: map[string]guard.Honesty{},
		tools: map[string]string{"xxhsum": "/usr/bin/xxhsum"},
	}
	f.env = Env{
		Home: "/home/op/twobin", To: []string{"/drives/one", "/drives/two"},
		Getenv:   func(k string) string { return f.vars[k] },
		Terminal: func() Terminal { return f.terminal },
		Try:      func(context.Context, string) Trial { return f.trial },
		Clock:    func() (time.Time, time.Duration) { return f.wall, f.steady },
		Wait: func(_ context.Context, d time.Duration) {
			f.wall, f.steady = f.wall.Add(d+f.step), f.steady+d
		},
		Synced:   func() Answer { return f.synced },
		Watch:    func(context.Context) (Watching, error) { return f.watching, f.watchErr },
		Identify: func(p string) (guard.Volume, error) { return f.volumes[p], f.errs[p] },
		Writable: func(p string) error { return f.write[p] },
		Honesty: func(p string) (guard.Honesty, error) {
			if h, ok := f.honest[p]; ok {
				return h, nil
			}
			return guard.FromDevice, nil
		},
		Tool: func(n string) string { return f.tools[n] },
	}
	return f
}

func TestHealthy(t *testing.T) {
	r := Check(t.Context(), healthy().env)
	for _, l := range r.Lines {
		if l.Mark != Fine || l.Seen == "" || l.Do != "" {
			t.Errorf("%+v, want fine, something seen, nothing to do", l)
		}
	}
	if r.Stops() {
		t.Error("Stops() = true")
	}
	want := `Would a shift run here? 2026-05-04 07:30 +02:00
fine  terminal      80x24, xterm-256color.
fine  colour        256.
fine  data folder   /home/op/twobin: written and flushed.
fine  room          85 GB free for the journal.
fine  clock         2026-05-04 07:30:00 +02:00, set by the network.
fine  volumes       3 mounted; the system reports every card at once.
fine  drive 1       /drives/one: 3.1 TB free (ext4).
fine  drive 2       /drives/two: 412 GB free (xfs).
fine  separate      2 destinations on 2 devices.
fine  read-back     from the device, past the cache: tried on the data folder's
                    drive.
fine  tools         xxhsum is here: anyone can check the hash lists with it.
A shift can run here.
`
	if d := cmp.Diff(want, r.Text()); d != "" {
		t.Errorf("Text: -want +got\n%s", d)
	}
}

// Each case breaks one thing and names the subject that must say so, its mark, and words it must use.
func TestOneThingWrong(t *testing.T) {
	tests := []struct {
		name    string
		broken  func(*fake)
		subject string
		mark    Mark
		words   string
	}{
		{"output is a pipe", func(f *fake) { f.terminal.Out = false }, "terminal", Look, "line by line"},
		{"input is a pipe", func(f *fake) { f.terminal.In = false }, "terminal", Look, "line by line"},
		{"dumb terminal", func(f *fake) { f.vars["TERM"] = "dumb" }, "terminal", Look, "cannot draw"},
		{"one column short", func(f *fake) { f.terminal.Width = 79 }, "terminal", Look, "79x24"},
		{"one row short", func(f *fake) { f.terminal.Height = 23 }, "terminal", Look, "80x23"},
		{"size not told", func(f *fake) { f.terminal.Width, f.terminal.Height = 0, 0 }, "terminal", Look, "size"},
		{"folder not writable", func(f *fake) { f.trial.Write = fs.ErrPermission }, "data folder", Stop, "not allowed"},
		{"folder's drive full", func(f *fake) { f.trial.Write = syscall.ENOSPC }, "data folder", Stop, "full"},
		{"flush fails", func(f *fake) { f.trial.Flush = syscall.EIO }, "data folder", Stop, "flushed"},
		{"network folder", func(f *fake) { f.trial.Volume.FSType = "nfs4" }, "data folder", Stop, "network"},
		{"folder in memory", func(f *fake) { f.trial.Volume.FSType = "tmpfs" }, "data folder", Look, "memory"},
		{"slow flush", func(f *fake) { f.trial.Took = 3 * time.Second }, "data folder", Look, "3.0 s"},
		{"hardly room", func(f *fake) { f.trial.Volume.Free = 900e6 }, "room", Look, "900 MB"},
		{"no room", func(f *fake) { f.trial.Volume.Free = 40e6 }, "room", Stop, "40 MB"},
		{"room not told", func(f *fake) { f.trial.Volume.Size, f.trial.Volume.Free = 0, 0 }, "room", Look, "does not tell"},
		{"clock of an empty battery", func(f *fake) { f.wall = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) }, "clock", Stop, "2000"},
		{"clock far ahead", func(f *fake) { f.wall = f.wall.AddDate(100, 0, 0) }, "clock", Stop, "2126"},
		{"clock jumps ahead", func(f *fake) { f.step = time.Hour }, "clock", Look, "1h0m0s"},
		{"clock jumps back", func(f *fake) { f.step = -2 * time.Second }, "clock", Look, "-2s"},
		{"no watching", func(f *fake) { f.watchErr = syscall.ENOSYS }, "volumes", Stop, "cannot be watched"},
		{"destination missing", func(f *fake) {
			f.errs["/drives/one"] = &guard.Error{Op: "identify", Kind: guard.KindGone, Err: fs.ErrNotExist}
		}, "drive 1", Stop, "not there"},
		{"destination does not answer", func(f *fake) {
			f.errs["/drives/two"] = &guard.Error{Op: "identify", Kind: guard.KindStalled, Err: errors.New("x")}
		}, "drive 2", Stop, "does not answer"},
		{"destination read-only", func(f *fake) { set(f, "/drives/one", func(v *guard.Volume) { v.ReadOnly = true }) }, "drive 1", Stop, "read-only"},
		{"destination not ours", func(f *fake) { f.write["/drives/two"] = fs.ErrPermission }, "drive 2", Stop, "not allowed"},
		{"destination nearly full", func(f *fake) { set(f, "/drives/two", func(v *guard.Volume) { v.Free = 5 * gb }) }, "drive 2", Look, "5.0 GB"},
		{"copies not provable", func(f *fake) { f.honest["/drives/one"] = guard.NotPastCache }, "drive 1", Look, "past the cache"},
		{"one device", func(f *fake) { set(f, "/drives/two", func(v *guard.Volume) { v.Disk = "sdb" }) }, "separate", Stop, "fail together"},
		{"device unknown", func(f *fake) { set(f, "/drives/two", func(v *guard.Volume) { v.Disk = "" }) }, "separate", Look, "never counts"},
		{"both unknown are not one", func(f *fake) {
			set(f, "/drives/one", func(v *guard.Volume) { v.Disk = "" })
			set(f, "/drives/two", func(v *guard.Volume) { v.Disk = "" })
		}, "separate", Look, "drive 1 and drive 2"},
		{"one destination", func(f *fake) { f.env.To = f.env.To[:1] }, "separate", Stop, "not enough"},
		{"named twice", func(f *fake) { f.env.To = []string{"/drives/one", "/drives/one"} }, "separate", Stop, "twice"},
		{"cache not told apart", func(f *fake) { f.trial.Back = guard.NotPastCache }, "read-back", Look, "cache"},
		{"read back fails", func(f *fake) { f.trial.Reading = syscall.EIO }, "read-back", Look, "reports an error"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := healthy()
			tt.broken(f)
			r := Check(t.Context(), f.env)
			for _, l := range r.Lines {
				if l.Subject == tt.subject {
					if l.Mark != tt.mark || !strings.Contains(l.Seen, tt.words) || l.Do == "" {
						t.Errorf("%+v, want mark %s, words %q and what to do", l, tt.mark, tt.words)
					}
				} else if missing := l.Subject == "separate" && len(f.errs) > 0; missing != (l.Mark == Look) || l.Mark == Stop {
					t.Errorf("%+v, want fine (look for separate without a destination)", l)
				}
			}
			if r.Stops() != (tt.mark == Stop) {
				t.Errorf("Stops() = %t with %s", r.Stops(), tt.mark)
			}
			if text := r.Text(); !strings.Contains(text, tt.mark.String()+"  "+tt.subject) {
				t.Errorf("the screen does not show it:\n%s", text)
			}
		})
	}
}

func set(f *fake, path string, change func(*guard.Volume)) {
	v := f.volumes[path]
	change(&v)
	f.volumes[path] = v
}

// Things that are no fault but are told.
func TestToldOnly(t *testing.T) {
	tests := []struct {
		name   string
		change func(*fake)
		words  string
	}{
		{"NO_COLOR", func(f *fake) { f.vars["NO_COLOR"] = "1" }, "none, NO_COLOR is set"},
		{"CI", func(f *fake) { f.vars["CI"] = "true" }, "none, CI is set"},
		{"true colour", func(f *fake) { f.vars["COLORTERM"] = "truecolor" }, "16 million"},
		{"few colours", func(f *fake) { f.vars["TERM"] = "linux" }, "16 or fewer"},
		{"folder not there yet", func(f *fake) { f.trial.Missing = true }, "not there yet"},
		{"nothing sets the clock", func(f *fake) { f.synced = No }, "nothing sets it"},
		{"not known who sets the clock", func(f *fake) { f.synced = Unknown }, "not known who sets it"},
		{"watching by time", func(f *fake) { f.watching.Woken = false }, "twice a second"},
		{"no destination named", func(f *fake) { f.env.To = nil }, "none named"},
		{"no tools", func(f *fake) { f.tools = nil }, "no xxhsum"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := healthy()
			tt.change(f)
			r := Check(t.Context(), f.env)
			if r.Stops() || r.count(Look) > 0 || !strings.Contains(r.Text(), tt.words) {
				t.Errorf("want %q and nothing marked:\n%s", tt.words, r.Text())
			}
		})
	}
}

// A drive that never answers stops neither the check nor what is known of the others.
func TestNoAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := healthy()
		stuck := make(chan struct{})
		defer close(stuck)
		identify := f.env.Identify
		f.env.Identify = func(p string) (guard.Volume, error) {
			if p == "/drives/one" {
				<-stuck
			}
			return identify(p)
		}
		f.env.Try = func(context.Context, string) Trial { <-stuck; return Trial{} }
		began := time.Now()
		r := Check(t.Context(), f.env)
		if took := time.Since(began); took != 2*Patience {
			t.Errorf("took %s, want %s for the data folder and as long for the destinations", took, Patience)
		}
		marks := map[string]Mark{}
		for _, l := range r.Lines {
			marks[l.Subject] = l.Mark
		}
		want := map[string]Mark{"terminal": Fine, "colour": Fine, "data folder": Stop, "clock": Fine, "volumes": Fine,
			"drive 1": Stop, "drive 2": Fine, "separate": Look, "tools": Fine}
		if d := cmp.Diff(want, marks); d != "" {
			t.Errorf("marks: -want +got\n%s", d)
		}
	})
}

func TestJSON(t *testing.T) {
	f := healthy()
	f.trial.Flush = syscall.EIO
	r := Check(t.Context(), f.env)
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`{"at":"2026-05-04T07:30:00+02:00","lines":[{"subject":"terminal","mark":"fine","seen":`, `"mark":"stop"`, `"do":"`} {
		if !strings.Contains(string(b), want) {
			t.Errorf("JSON lacks %s:\n%s", want, b)
		}
	}
	var back Report
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if !back.Stops() || len(back.Lines) != len(r.Lines) {
		t.Errorf("read back: %+v", back)
	}
}
