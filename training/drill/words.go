package drill

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// words gives an incident what is heard or seen, and what is said when somebody asks.
func words(i *Planned, r *Roll, rng *rand.Rand) {
	who := people[rng.IntN(len(people))]
	pick := func(ls ...string) string { return ls[rng.IntN(len(ls))] }
	switch i.Kind {
	case CallStart, CallDesk:
		i.Says = pick(
			"The phone on the cart rings.",
			"Radio: \"Cart for production, come in, please.\"",
			who+" stands at the cart: \"Have you got a minute?\"",
			"The phone rings again and again. The display says: production office.",
		)
		i.Reply = pick("\"How many cards are still to come today?\" You talk for a while.", "\"Can you bring more batteries?\" You talk for a while.")
	case CallErase:
		i.Says = pick(who+" stands at the cart: \"Which lunch do you want?\"", "Radio: \"Cart, where are the empty cards?\"", "The phone on the cart rings.")
		i.Reply = "You talk about something else for a while."
	case Wanted:
		i.Says = pick(
			who+" holds out a hand: \"I need that card. The camera stands still.\"",
			"Radio: \"Send the card over now, we roll in two minutes.\"",
		)
		i.Reply = "\"How long will it take?\" You say: when it lies in the green bin."
	case Lacks:
		i.Reply = r.From + ": \"Sorry. Here it is, everything is with it now.\""
	case Skip:
		where := pick("is still in the camera", "was dropped and is at the office", "comes with the next car")
		i.Reply = fmt.Sprintf("%s: \"The one before %s.\"", r.From, where)
		i.Keys = keysOf(where)
	case Reused:
		i.Reply = fmt.Sprintf("%s: \"My mistake, that label was taken. It is %s; tape and card say so now.\"", r.From, r.Label)
	case LabelDiffers:
		i.Reply = fmt.Sprintf("%s: \"The tape is right: %s. The card says so now.\"", r.From, r.Label)
	case Unformatted:
		i.Reply = r.From + ": \"Then it was not formatted. Thank you, we will look after that.\""
		i.Keys = notClean()
	case NewTake:
		i.Reply = r.From + ": \"Yes, we shot one more on it. It is the same roll: copy the card again, please.\""
	case NoFolder, WrongSeat, WrongErase, BadCopy, DriveFull, DriveGone, DriveReadOnly, Unreadable, PowerCut, Together:
	}
}

// keysOf are the words of an answer that an honest note of it has at least one of.
func keysOf(s string) []string {
	switch s {
	case "is still in the camera":
		return []string{"camera", "cameras", "cam"}
	case "was dropped and is at the office":
		return []string{"dropped", "office"}
	}
	return []string{"car", "cars"}
}

// notClean are the words of a note that a card had not been formatted, at least one of which it has.
func notClean() []string {
	return []string{
		"format", "formatted", "formatting", "unformatted", "reformat", "reformatted", "old", "older", "earlier", "again", "twice",
		"clear", "cleared", "empty", "emptied", "wiped", "erased", "previous", "leftover", "leftovers", "before",
	}
}

// lacking are the words of a note that something is not with a card, at least one of which it has.
func lacking() []string {
	return []string{"tape", "tapes", "case", "box", "label", "unlabelled", "unlabeled", "without", "lacks", "lacking", "missing"}
}

// department is the camera department as such: that it was asked, or will be, says nothing of where a card is.
var department = regexp.MustCompile(`(?i)\bcamera(?:'s|s)?[\s-]+(?:department|dept|crew|team|people|assistants?)\b`)

// hasWord says whether a text has one of the keys as a whole word, in whatever case. "hold" does not say "old".
func hasWord(text string, keys ...string) bool {
	apart := func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsDigit(c) }
	return slices.ContainsFunc(strings.FieldsFunc(text, apart), func(w string) bool {
		return slices.ContainsFunc(keys, func(k string) bool { return strings.EqualFold(w, k) })
	})
}
