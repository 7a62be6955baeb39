package practice

// Habits are bad habits of a [Player]. The zero value has none.
type Habits struct {
	// AnswersPhone: whoever calls is answered at once, and then the work goes on.
	AnswersPhone bool
	// SkipsLook: answers the sighted check from the first drive that shows the roll, without opening the one asked for.
	SkipsLook bool
	// ErasesEarly: hands a card over when it is wanted, and goes on to the erase whatever happens.
	ErasesEarly bool
	// LastFirst: takes the card on top.
	LastFirst bool
	// GuessesLabels: types the label that is expected, and does not look at the card in the reader.
	GuessesLabels bool
	// LetsLie: leaves cards lying, on the desk and beside the bin.
	LetsLie bool
	// RetriesAtOnce: copies again as it was when a copy failed, and nothing is changed.
	RetriesAtOnce bool
	// TakesAnything: takes in every card as if tape and case were with it.
	TakesAnything bool
	// MakesUpAnswers: says of a number that has not come in what nobody said, and makes up a label where one is taken.
	MakesUpAnswers bool
	// KeepsQuiet: tells nobody what was odd about a card.
	KeepsQuiet bool
	// GivesUp: what goes on hold stays there, and so does what was in work when the power went.
	GivesUp bool
}

// madeUp is how far from a label that is taken the made-up one is.
const madeUp = 50
