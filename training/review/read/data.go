package read

import (
	"bytes"
	"encoding/json"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// data are the fields of all events that the review looks at: one type for all, so that a line is decoded once and the
// listing-like fields of an event are passed over.
type data struct {
	Prompt string `json:"prompt"`
	TookMS int64  `json:"took_ms"`

	Right  bool   `json:"right"`
	Where  string `json:"where"`
	What   string `json:"what"`
	Read   string `json:"read"`
	Dest   string `json:"dest"`
	Pass   int    `json:"pass"`
	For    string `json:"for"`
	Open   open   `json:"open"`
	Step   string `json:"step"`
	Reason string `json:"reason"`
	Text   string `json:"text"`

	Asked string `json:"asked"`
	Due   string `json:"due"`
	Why   string `json:"why"`

	ScanMS  int64 `json:"scan_ms"`
	CopyMS  int64 `json:"copy_ms"`
	LookMS  int64 `json:"look_ms"`
	EraseMS int64 `json:"erase_ms"`
	AwayMS  int64 `json:"away_ms"`

	Kind   string `json:"kind"`
	ID     id     `json:"id"`
	Result string `json:"result"`

	Production string               `json:"production"`
	Operator   string               `json:"operator"`
	To         to                   `json:"to"`
	Drill      string               `json:"drill"`
	Seed       int64                `json:"seed"`
	Coach      string               `json:"coach"`
	Policy     procedure.PolicyNote `json:"policy"`
}

// Fields whose name stands for different types in different events: only the one that the review wants is taken.
type (
	open bool
	id   string
	to   string
)

// UnmarshalJSON takes a truth value, and lets a list pass.
func (o *open) UnmarshalJSON(b []byte) error { *o = open(string(b) == "true"); return nil }

// UnmarshalJSON takes a string, and lets a number pass.
func (i *id) UnmarshalJSON(b []byte) error { return text((*string)(i), b) }

// UnmarshalJSON takes a string, and lets a list pass.
func (t *to) UnmarshalJSON(b []byte) error { return text((*string)(t), b) }

func text(s *string, b []byte) error {
	if len(b) == 0 || b[0] != '"' {
		return nil
	}
	return json.Unmarshal(b, s)
}

// answered reads the data of an event that has no fields but those of an answer, as the program writes them: most of a
// journal is such. False: it looks different.
func answered(raw []byte, d *data) bool {
	rest, ok := bytes.CutPrefix(raw, []byte(`{"prompt":"`))
	if !ok {
		return false
	}
	end := bytes.IndexByte(rest, '"')
	if end < 0 || bytes.IndexByte(rest[:end], '\\') >= 0 {
		return false
	}
	prompt := rest[:end]
	rest, ok = bytes.CutPrefix(rest[end+1:], []byte(`,"took_ms":`))
	if !ok || len(rest) < 2 || rest[len(rest)-1] != '}' || len(rest) > 16 {
		return false
	}
	var n int64
	for _, c := range rest[:len(rest)-1] {
		if c < '0' || c > '9' {
			return false
		}
		n = 10*n + int64(c-'0')
	}
	d.Prompt, d.TookMS = string(prompt), n
	return true
}

// idle are events of whose data nothing is asked: those with a volume are the longest in a journal.
var idle = map[string]bool{
	evSeated: true, evGone: true, (procedure.DestinationSet{}).Name(): true, (procedure.StrayVolume{}).Name(): true,
}

// decode reads a line's data.
func decode(l *journal.Line, d *data) error {
	*d = data{}
	if len(l.Data) == 0 || idle[l.Event] || answered(l.Data, d) {
		return nil
	}
	return json.Unmarshal(l.Data, d)
}
