package guard

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// immaterial are the fields of what the lock is asked with that may have any value: descriptions of a volume that do not
// identify it, and words for the record. Everything else decides.
var immaterial = []string{
	"look.Card.Mount", "look.Card.Device", "look.Card.FSType", "look.Card.Name", "look.Card.Dev", "look.Card.Size", "look.Card.Free",
	"look.Card.ReadOnly", "Volume.Mount", "Volume.Device", "Volume.FSType", "Volume.Name", "Volume.Dev", "Volume.Size", "Volume.Free",
	"Volume.ReadOnly", ".First",
	"look.At",                       // any time within the limit is as good
	"Volume.Disk", "look.Card.Disk", // of three drives, two have to be apart, and none the card's
	"look.Copies", // a look at something else besides does no harm; fewer looks are in the table of breakages
}

// leaf is one value below a struct, and how to change it.
type leaf struct {
	path  string
	value reflect.Value
}

// leaves finds every settable value, to the bottom.
func leaves(path string, v reflect.Value) []leaf {
	var all []leaf
	if v.Type() == reflect.TypeFor[time.Time]() {
		return []leaf{{path, v}}
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			all = append(all, leaves(path+"."+v.Type().Field(i).Name, v.Field(i))...)
		}
	case reflect.Slice:
		all = append(all, leaf{path, v})
		for i := range v.Len() {
			all = append(all, leaves(fmt.Sprintf("%s[%d]", path, i), v.Index(i))...)
		}
	default:
		all = append(all, leaf{path, v})
	}
	return all
}

// changes gives several other values for a leaf.
func changes(v reflect.Value) []reflect.Value {
	var all []reflect.Value
	add := func(x any) { all = append(all, reflect.ValueOf(x).Convert(v.Type())) }
	switch x := v.Interface().(type) {
	case bool:
		add(!x)
	case string:
		add(x + "x")
		add(strings.ToLower(x) + " ")
		if x != "" {
			add("")
			add(x[1:])
		}
	case int:
		add(x + 1)
		add(x - 1)
		add(-1 << 40)
	case int64:
		add(x + 1)
		add(x - 1)
	case uint64:
		add(x + 1)
		add(x ^ 1<<63)
	case Honesty:
		add((x + 1) % 3)
		add((x + 2) % 3)
		add(99)
	case time.Time:
		all = append(all, reflect.ValueOf(x.Add(-time.Hour)), reflect.ValueOf(x.Add(time.Hour)), reflect.ValueOf(time.Time{}))
	default:
		if v.Kind() != reflect.Slice {
			panic(fmt.Sprintf("no change known for %s", v.Type()))
		}
		longer := reflect.MakeSlice(v.Type(), v.Len()+1, v.Len()+1)
		reflect.Copy(longer, v)
		all = append(all, longer)
		if n := v.Len(); n > 0 {
			shorter := reflect.MakeSlice(v.Type(), n-1, n-1)
			reflect.Copy(shorter, v)
			all = append(all, shorter, reflect.Zero(v.Type()))
		}
	}
	return all
}

// roots are the three things that can be wrong.
func roots(a *asked) []leaf {
	all := leaves("facts", reflect.ValueOf(&a.f).Elem())
	all = append(all, leaves("look", reflect.ValueOf(a.l).Elem())...)
	return append(all, leaves("proof", reflect.ValueOf(a.p).Elem())...)
}

// TestInvariant5EveryField changes every single value of facts, look and proof, one at a time: the lock closes, but for
// the fields that are listed as immaterial in the look. (In the proof nothing is: the journal has its digest.)
func TestInvariant5EveryField(t *testing.T) {
	tried, harmless := 0, map[string]bool{}
	for i, l := range roots(allGood()) {
		if l.value.Kind() == reflect.Map {
			continue
		}
		for n := range changes(l.value) {
			a := allGood()
			mine := roots(a)[i]
			mine.value.Set(changes(mine.value)[n])
			tried++
			open := a.verdict().Open()
			if open && !isImmaterial(l.path) {
				t.Errorf("%s changed to %v: the lock is open", l.path, mine.value.Interface())
			}
			if open {
				harmless[l.path] = true
			}
		}
	}
	t.Logf("%d changes tried, %d fields of the look immaterial", tried, len(harmless))
	if tried < 300 || len(harmless) == 0 {
		t.Errorf("%d changes, %d immaterial: the walk is broken", tried, len(harmless))
	}
}

func isImmaterial(path string) bool {
	for _, s := range immaterial {
		if strings.HasPrefix(path, "look.") && strings.HasSuffix(path, s) {
			return true
		}
	}
	return false
}

// TestInvariant5AnyBreakages: any number of breakages at once, under any policy, keeps the lock closed, and the verdict
// always has all eight conditions in order.
func TestInvariant5AnyBreakages(t *testing.T) {
	all := breakages()
	rapid.Check(t, func(t *rapid.T) {
		a := allGood()
		first := rapid.SampledFrom(all).Draw(t, "breakage")
		if about := strings.Contains(first.name, "drill") || strings.Contains(first.name, "simulated"); !about && rapid.Bool().Draw(t, "drill") {
			simulate(a)
		}
		first.change(a)
		pol := Policy{
			Destinations: max(a.pol.Destinations, rapid.IntRange(-1, 4).Draw(t, "destinations")), Recheck: Recheck(rapid.IntRange(-1, 3).Draw(t, "recheck")),
			SampleFiles: rapid.IntRange(-1, 40).Draw(t, "files"), SampleBytes: rapid.Int64().Draw(t, "bytes"),
			EraseWithin: a.pol.EraseWithin, Reread: rapid.Bool().Draw(t, "reread"),
		}
		v := Lock(a.p, a.f, a.l, pol, a.now)
		if v.Open() {
			t.Fatalf("%s: open", first.name)
		}
		if len(v.Conditions) != len(conditionIDs) {
			t.Fatalf("%s: %d conditions", first.name, len(v.Conditions))
		}
		for i, c := range v.Conditions {
			if c.ID != conditionIDs[i] || c.Says == "" || (c.Do == "") != c.Holds {
				t.Fatalf("%s: condition %d is %+v", first.name, i, c)
			}
		}
	})
}

// TestCompareModel: two listings differ exactly as plain maps of their contents say.
func TestCompareModel(t *testing.T) {
	entry := rapid.Custom(func(t *rapid.T) Entry {
		return Entry{rapid.SampledFrom([]string{"a", "b", "a/b", "a-b", "\xff"}).Draw(t, "path"), rapid.Int64Range(0, 1).Draw(t, "size"),
			rapid.Int64Range(0, 1).Draw(t, "mtime")}
	})
	listing := rapid.Custom(func(t *rapid.T) Listing {
		return Listing{
			Files: rapid.SliceOfNDistinct(entry, 0, 4, func(e Entry) string { return e.Path }).Draw(t, "files"),
			Dirs:  rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"c", "d", "lost+found", "c/lost+found"}), 0, 3, rapid.ID).Draw(t, "dirs"),
			Odd:   rapid.SliceOfN(rapid.Just("odd"), 0, 1).Draw(t, "odd"),
		}
	})
	content := func(l Listing, fs string) map[string]string {
		m := map[string]string{}
		for _, f := range l.Files {
			m[f.Path] = fmt.Sprint(f.Size, f.MTime)
		}
		for _, d := range l.Dirs {
			if fs != "ext4" || d != "lost+found" {
				m[d] = "folder"
			}
		}
		return m
	}
	rapid.Check(t, func(t *rapid.T) {
		want, have := listing.Draw(t, "want"), listing.Draw(t, "have")
		if rapid.Bool().Draw(t, "same files") {
			have.Files = want.Files
		}
		fs := rapid.SampledFrom([]string{"ext4", "exfat"}).Draw(t, "fs")
		w, h := content(want, fs), content(have, fs)
		model := difference{odd: len(have.Odd)}
		paths := have.Odd
		for path := range w {
			if _, ok := h[path]; !ok {
				model.missing++
				paths = append(paths, path)
			} else if h[path] != w[path] {
				model.changed++
				paths = append(paths, path)
			}
		}
		for path := range h {
			if _, ok := w[path]; !ok {
				model.added++
				paths = append(paths, path)
			}
		}
		if len(paths) > 0 {
			model.first = slices.Min(paths)
		}
		if d := compare(want, have, fs); d != model || d.same() != (len(paths) == 0) {
			t.Fatalf("compare(%v, %v) = %+v, want %+v", want, have, d, model)
		}
	})
}
