package journal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// What is appended is read back, whatever the texts; what cannot be read back the same is refused. The model is a slice.
func TestWriteThenRead(t *testing.T) {
	t.Parallel()
	dir := memoryDir(t)
	text := rapid.OneOf(rapid.String(), rapid.StringOfN(rapid.RuneFrom([]rune("\x00\x1b\n\r\"\\\u007f\u0085\u009f\u2028\u2029é😀A")), 0, 9, -1),
		rapid.Map(rapid.SliceOfN(rapid.Byte(), 0, 6), func(b []byte) string { return string(b) }))
	event := rapid.StringMatching(`[a-z][a-z0-9_-]{0,9}(\.[a-z][a-z0-9_-]{0,9}){0,2}`)
	line := rapid.Custom(func(t *rapid.T) Line {
		l := Line{Station: text.Draw(t, "station"), Lane: rapid.IntRange(0, 9).Draw(t, "lane"), Operator: text.Draw(t, "operator"),
			Event: event.Draw(t, "event"), Roll: text.Draw(t, "roll")}
		if rapid.Bool().Draw(t, "has data") {
			b, err := json.Marshal(rapid.MapOfN(text, text, 0, 3).Draw(t, "data"))
			if err != nil {
				t.Fatal(err)
			}
			l.Data = b
		}
		return l
	})
	rapid.Check(t, func(t *rapid.T) {
		path := filepath.Join(dir, "j")
		_ = os.Remove(path)
		o := Options{Station: "A", Now: clock(time.Duration(rapid.Int64Range(0, 1e12).Draw(t, "step")))}
		var model []Line
		for range rapid.IntRange(1, 3).Draw(t, "runs") {
			j, lines, err := Open(path, o)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(model, lines[:len(model)], cmpopts.EquateEmpty()); diff != "" {
				t.Fatalf("opened again:\n%s", diff)
			}
			model = lines
			for _, batch := range rapid.SliceOfN(rapid.SliceOfN(line, 1, 3), 0, 3).Draw(t, "appends") {
				out, err := j.Append(t.Context(), batch...)
				if refused := refusable(batch); (err != nil) != refused {
					t.Fatalf("Append(%+v) = %v; want refused: %v", batch, err, refused)
				}
				model = append(model, out...)
				checkGiven(t, batch, out)
			}
			if err := j.Close(); err != nil {
				t.Fatal(err)
			}
		}
		got, damage, err := ReadFile(path)
		if err != nil || damage != nil {
			t.Fatalf("ReadFile: %v, %v", damage, err)
		}
		if diff := cmp.Diff(model, got); diff != "" {
			t.Fatalf("read back:\n%s", diff)
		}
	})
}

// refusable is the model of what Append refuses among the lines drawn here.
func refusable(batch []Line) bool {
	for _, l := range batch {
		reserved := strings.HasPrefix(l.Event, "journal.") || strings.HasPrefix(l.Event, "clock.")
		if reserved || !utf8.ValidString(l.Station+"|"+l.Operator+"|"+l.Roll) {
			return true
		}
		// json.Marshal replaces what is not UTF-8, so two names of a map can become one.
		var m map[string]string
		if len(l.Data) > 0 && (json.Unmarshal(l.Data, &m) != nil || strings.Count(string(mustJSON(m)), `":"`) != strings.Count(string(l.Data), `":"`)) {
			return true
		}
	}
	return false
}

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b
}

// checkGiven wants the caller's words unchanged at the end of what Append returned.
func checkGiven(t *rapid.T, given, out []Line) {
	if len(out) == 0 {
		return
	}
	out = out[len(out)-len(given):]
	for i, g := range given {
		if g.Station == "" {
			g.Station = "A"
		}
		o := out[i]
		if o.Station != g.Station || o.Lane != g.Lane || o.Operator != g.Operator || o.Event != g.Event || o.Roll != g.Roll || string(o.Data) != string(g.Data) {
			t.Fatalf("given %+v, written %+v", g, o)
		}
	}
}

// FuzzParse: no input makes the reader panic, and what it accepts is exactly what the writer would write.
func FuzzParse(f *testing.F) {
	raw, _ := sample(f, "red", "é\"\\\x00")
	f.Add(raw)
	f.Add(raw[:len(raw)-30])
	f.Add([]byte("{}\n"))
	f.Add(append(raw[:len(raw):len(raw)], make([]byte, 700)...))
	f.Fuzz(func(t *testing.T, raw []byte) {
		lines, damage := Parse(raw)
		var again []byte
		for i := range lines {
			again = encode(again, &lines[i])
		}
		good := len(raw)
		if damage != nil {
			good = int(damage.Offset)
			if damage.Line != len(lines)+1 {
				t.Errorf("damage in line %d after %d lines", damage.Line, len(lines))
			}
		}
		if string(again) != string(raw[:good]) {
			t.Errorf("accepted\n%q\nbut would write\n%q", raw[:good], again)
		}
	})
}

// FuzzParseLine is FuzzParse behind the sums, which a fuzzer cannot guess: one line with its own right sum.
func FuzzParseLine(f *testing.F) {
	raw, _ := sample(f, "red", "é\"\\\x00")
	for line := range strings.Lines(string(raw)) {
		f.Add([]byte(line[:len(line)-1-sumLen]))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		raw := encodeSum(body)
		l, what := newParser().parse(raw[:len(raw)-1])
		if what == "" && string(encode(nil, &l)) != string(raw) {
			t.Errorf("accepted\n%q\nbut would write\n%q", raw, encode(nil, &l))
		}
		torn(raw[:len(body)], 0, nil)
	})
}

// The quick way through a line's names never passes what the slow one refuses, and passes what has no escape.
func TestSurelyUniqueAgrees(t *testing.T) {
	t.Parallel()
	var object func(t *rapid.T, deep int) string
	value := func(t *rapid.T, deep int) string {
		switch kind := rapid.IntRange(0, 5).Draw(t, "kind"); {
		case kind < 2 && deep > 0:
			return object(t, deep-1)
		case kind == 2 && deep > 0:
			return "[" + object(t, deep-1) + `,"x",` + object(t, deep-1) + "]"
		case kind == 3:
			return `"a\":\"{"`
		case kind == 4:
			return `"}:["`
		}
		return "-1.5e3"
	}
	object = func(t *rapid.T, deep int) string {
		var out []string
		for range rapid.IntRange(0, 4).Draw(t, "names") {
			name := rapid.SampledFrom([]string{"a", "b", "c", "d", "e", `\u0061`, `\"`, "{", ""}).Draw(t, "name")
			out = append(out, `"`+name+`":`+value(t, deep))
		}
		return "{" + strings.Join(out, ",") + "}"
	}
	passed, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		data := []byte(object(t, 3))
		if !wellFormed(data) {
			t.Fatalf("the generator wrote %s", data)
		}
		quick, slow := surelyUnique(data), uniqueNames(json.NewDecoder(bytes.NewReader(data)))
		switch {
		case quick && slow != nil:
			t.Fatalf("%s passes, but %v", data, slow)
		case !quick && slow == nil && !bytes.ContainsRune(data, '\\'):
			t.Fatalf("%s has to go the slow way", data)
		case quick:
			passed++
		default:
			refused++
		}
	})
	if passed == 0 || refused == 0 {
		t.Errorf("%d passed, %d not", passed, refused)
	}
	long := "{"
	for n := range 40 {
		long += fmt.Sprintf(`"n%d":0,`, n)
	}
	if surelyUnique([]byte(long + `"n39":1}`)) {
		t.Error("a name that stands twice in a long object passes")
	}
}
