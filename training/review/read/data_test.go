package read

import (
	"encoding/json"
	"testing"
	"unicode/utf8"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// FuzzAnswered: the short way of reading an answer takes nothing but what the long way reads alike.
func FuzzAnswered(f *testing.F) {
	for _, s := range []string{
		`{"prompt":"bin.green","took_ms":5200}`, `{"prompt":"a\"b","took_ms":1}`, `{"prompt":"a","took_ms":-1}`, `{"prompt":"a","took_ms":1,"right":true}`,
		`{"prompt":"a"}`, `{"took_ms":12}`, `{}`, `{"prompt":"","took_ms":0}`, `{"prompt":"a","took_ms":01}`, `{"prompt":"a","took_ms":}`, `{"prompt":"a","took_ms":9999999999999999999}`,
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, raw string) {
		if !json.Valid([]byte(raw)) || !utf8.ValidString(raw) { // a journal has nothing else
			return
		}
		var short, long data
		if !answered([]byte(raw), &short) {
			return
		}
		if err := json.Unmarshal([]byte(raw), &long); err != nil || short != long {
			t.Errorf("%q: short %+v, long %+v, %v", raw, short, long, err)
		}
	})
}

// TestDecodeEveryEvent: every event of the program, with nothing in it, is read without an error.
func TestDecodeEveryEvent(t *testing.T) {
	t.Parallel()
	for _, e := range procedure.Events() {
		name, raw, err := procedure.EncodeEvent(e)
		if err != nil {
			t.Fatal(err)
		}
		var d data
		if err := decode(&journal.Line{Event: name, Data: raw}, &d); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
