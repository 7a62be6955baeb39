package procedure

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"time"
)

// EncodeEvent gives the event's name and its data as compact JSON.
func EncodeEvent(e Event) (string, json.RawMessage, error) {
	b, err := json.Marshal(e)
	if err != nil {
		return "", nil, fmt.Errorf("encode event %s: %w", e.Name(), err)
	}
	return e.Name(), b, nil
}

// eventTypes maps a name to its type. Built from the table of prototypes, never written afterwards.
var eventTypes = func() map[string]reflect.Type {
	m := make(map[string]reflect.Type, len(prototypes))
	for _, e := range prototypes {
		m[e.Name()] = reflect.TypeOf(e)
	}
	return m
}()

// DecodeEvent reads an event's data. Unknown names and fields that the event does not have are errors: a journal that
// this version cannot read whole must not be gone on with.
func DecodeEvent(name string, data json.RawMessage) (Event, error) {
	t, ok := eventTypes[name]
	if !ok {
		return nil, fmt.Errorf("decode event %q: unknown name", clip(name, 40))
	}
	v := reflect.New(t)
	if len(data) > 0 && string(data) != "{}" {
		d := json.NewDecoder(bytes.NewReader(data))
		d.DisallowUnknownFields()
		if err := d.Decode(v.Interface()); err != nil {
			return nil, fmt.Errorf("decode event %s: %w", name, err)
		}
	}
	return v.Elem().Interface().(Event), nil
}

// Took is how long the answer behind an event took, and whether an answer is behind it.
func Took(e Event) (time.Duration, string, bool) {
	f := reflect.ValueOf(e).FieldByName("Answered")
	if !f.IsValid() {
		return 0, "", false
	}
	a := f.Interface().(Answered)
	return time.Duration(a.TookMS) * time.Millisecond, a.Prompt, a.Prompt != ""
}
