package procedure

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"twobin/guard"
)

// faultWords is the table from a kind of fault to what the operator reads: what happened, what is safe, what to do.
// {roll}, {on}, {need} and {path} are filled in. Each part fits one line of 76 columns with names of usual length.
var faultWords = map[guard.Kind]Notice{
	guard.KindNoSpace: {
		What: "{roll} on {on}: the drive is full{need}.",
		Safe: "the card is whole; what other drives hold stays.",
		Do:   "make room or take another drive, then pick {roll} again.",
	},
	guard.KindReadOnly: {
		What: "{roll} on {on}: the drive cannot be written to, it is read-only.",
		Safe: "the card is whole; what other drives hold stays.",
		Do:   "mount {on} for writing or take another drive, then pick {roll} again.",
	},
	guard.KindDenied: {
		What: "{roll} on {on}: no permission{path}.",
		Safe: "the card is whole; nothing was changed on {on}.",
		Do:   "put the permission right, then pick {roll} again.",
	},
	guard.KindGone: {
		What: "{roll}: {on} is no longer there.",
		Safe: "the card is whole if it was not moved; other drives keep what they hold.",
		Do:   "check cable and power, then pick {roll} again.",
	},
	guard.KindStalled: {
		What: "{roll}: {on} does not answer.",
		Safe: "other drives keep what they hold.",
		Do:   "check cable and power; take another drive if it stays like this.",
	},
	guard.KindNames: {
		What: "{roll} on {on}: the drive cannot hold a name of this card{path}.",
		Safe: "the card is whole; nothing was written.",
		Do:   "take a drive with another file system, then pick {roll} again.",
	},
	guard.KindExists: {
		What: "{roll} on {on}: another file of that name stands there{path}.",
		Safe: "it was left as it is; the card is whole.",
		Do:   "label used twice, or another card copied under it? Ask, then pick {roll} again.",
	},
	guard.KindSourceRead: {
		What: "{roll}: the card cannot be read{path}.",
		Safe: "nothing was written to the card; copied files stay.",
		Do:   "other reader or cable; do not try again and again. Then pick {roll} again.",
	},
	guard.KindSourceChanged: {
		What: "{roll}: the card changed while it was copied{path}.",
		Safe: "no copy counts; nothing was removed.",
		Do:   "find out what writes to the card. Then pick {roll} again.",
	},
	guard.KindSourceOdd: {
		What: "{roll}: the card holds something that is no file{path}.",
		Safe: "nothing was copied or changed.",
		Do:   "ask the camera department what it is.",
	},
	guard.KindWrite: {
		What: "{roll} on {on}: writing failed{path}. This copy does not count.",
		Safe: "the card is whole; what other drives hold stays.",
		Do:   "check or change the drive, then pick {roll} again.",
	},
	guard.KindReadBack: {
		What: "{roll} on {on}: the copy cannot be read back{path}.",
		Safe: "the card is whole; what other drives hold stays.",
		Do:   "check or change the drive, then pick {roll} again.",
	},
	guard.KindMismatch: {
		What: "{roll} on {on}: the copy differs from the card{path}.",
		Safe: "the card is whole; what other drives hold stays.",
		Do:   "change cable or drive. Leave the bad file for the record; use another drive.",
	},
	guard.KindReread: {
		What: "{roll}: the card gave different bytes when read twice{path}.",
		Safe: "nothing was written to the card; no copy counts.",
		Do:   "other reader or cable, then pick {roll} again.",
	},
	guard.KindSameDevice: {
		What: "{on}: on one device with the card or another copy. Both would be lost together.",
		Safe: "nothing was written.",
		Do:   "choose a destination on another physical drive.",
	},
	guard.KindRecord: {
		What: "{roll} on {on}: the hash list could not be written{path}.",
		Safe: "the card is whole; the files copied stay.",
		Do:   "check the drive, then pick {roll} again.",
	},
	guard.KindStopped: {
		What: "{roll}: the copy was stopped.",
		Safe: "the card is whole; what is copied is kept and proven again later.",
		Do:   "pick {roll} again when you are ready.",
	},
	guard.KindBusy: {
		What: "{roll}: another process{who} works on {on}.",
		Safe: "nothing was changed.",
		Do:   "end the other program, then try again.",
	},
	guard.KindUnproven: {
		What: "{roll}: the card holds something that is not proven{path}.",
		Safe: "nothing was removed.",
		Do:   "put back. Recorded on again? On hold, ask: the same roll (copy it again) or a new one?",
	},
	guard.KindErase: {
		What: "{roll}: removing stopped part of the way{path}.",
		Safe: "the proven copies on the drives are untouched.",
		Do:   "do not erase here again; have the card formatted in the camera.",
	},
}

// FaultNotice is what the operator reads about one fault of a roll. The zero label is "this roll".
func FaultNotice(roll Label, e *guard.Error) Notice {
	n, ok := faultWords[e.Kind]
	if !ok {
		n = Notice{What: "{roll} on {on}: something went wrong.", Safe: "the card was not changed.", Do: "put the roll on hold and ask."}
	}
	who := string(roll)
	if who == "" {
		who = "This roll"
	}
	on := Plain(e.Item)
	if on == "" || on == "card" {
		on = "the card"
	}
	need, path := "", ""
	if e.Need > 0 {
		need = ", " + SizeText(e.Need) + " more are needed"
	}
	if e.Path != "" {
		path = " (" + clip(lastPart(e.Path), 24) + ")"
	}
	holder, by := (*guard.Holder)(nil), ""
	if errors.As(e, &holder) && holder.PID > 0 {
		by = fmt.Sprintf(" (number %d)", holder.PID)
	}
	fill := strings.NewReplacer("{who}", by, "{roll}", who, "{on}", on, "{need}", need, "{path}", path)
	return Notice{Grade: "stop", What: fill.Replace(n.What), Safe: fill.Replace(n.Safe), Do: fill.Replace(n.Do), Cause: Plain(e.Error())}
}

func lastPart(p string) string {
	if i := strings.LastIndexByte(p, '/'); i >= 0 && i+1 < len(p) {
		return p[i+1:]
	}
	return p
}

// SizeText is a size as it goes into the book: decimal units (IEC 80000-13: 1 GB is 10^9 bytes), one decimal.
func SizeText(n int64) string {
	switch {
	case n >= 1e12:
		return fmt.Sprintf("%.2f TB", float64(n)/1e12)
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.1f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d B", n)
}

// SameSize says whether a figure read from the book is that of SizeText(n): the number alone, or number and unit;
// a comma counts as a point.
func SameSize(read string, n int64) bool {
	want := SizeText(n)
	num, unit, _ := strings.Cut(want, " ")
	t := strings.ToLower(strings.ReplaceAll(strings.TrimSpace(read), ",", "."))
	t = strings.TrimSpace(strings.TrimSuffix(t, strings.ToLower(unit)))
	got, err := strconv.ParseFloat(t, 64)
	if err != nil {
		return false
	}
	exact, err := strconv.ParseFloat(num, 64)
	return err == nil && got == exact
}

// Clockface is a span as m:ss, rounded down; negative spans are 0:00.
func Clockface(d time.Duration) string {
	s := int64(max(0, d) / time.Second)
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// tooFew says that a copy cannot begin with so few destinations.
func tooFew(have, need int) string {
	return fmt.Sprintf("%s in use, %d needed", plural(have, "destination"), need)
}

// Plural is "1 file" or "3 files".
func Plural(n int, word string) string { return plural(n, word) }

// plural is Plural.
func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
