package alarm

import (
	"fmt"
	"time"
)

// Priority is how soon a person must respond. IEC 62682 leaves the number of
// priorities to the user and advises three or four, with few at the top.
type Priority uint8

const (
	NoPriority Priority = iota // harmless: recorded, never an alarm
	Low                        // at the next visit
	Medium                     // within days
	High                       // today
	Critical                   // now, whatever the hour
)

var priorityWords = []string{"none", "low", "medium", "high", "critical"}

// String is the priority in one word.
func (p Priority) String() string { return word(p, priorityWords) }

// MarshalText writes the word.
func (p Priority) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads the word.
func (p *Priority) UnmarshalText(text []byte) error {
	return readWord(p, string(text), priorityWords, "priority")
}

// The time a person has left, as the columns of the priority table. Common
// practice, no source: an hour is a drive, twelve hours a night, three days a
// visit that can still be moved.
const (
	leftHour  = time.Hour
	leftNight = 12 * time.Hour
	leftDays  = 72 * time.Hour
)

// leftBounds are the times left until harm at which a priority can change,
// longest first.
var leftBounds = [...]time.Duration{leftDays, leftNight, leftHour}

// worstClass is the worst harm class: loss of the tank or a flooded building.
const worstClass = 4

// priorities is the priority by harm class and by time left: more than three
// days, three days, twelve hours, one hour.
var priorities = [worstClass + 1][len(leftBounds) + 1]Priority{
	0: {NoPriority, NoPriority, NoPriority, NoPriority},
	1: {Low, Low, Low, Low},
	2: {Low, Low, Medium, Medium},
	3: {Low, Medium, High, Critical},
	4: {Medium, High, Critical, Critical},
}

// PriorityOf is the priority of a harm class when a time is left until harm;
// the time left may be negative for harm that has come. A class below 0 is read
// as 0, one above 4 as 4.
func PriorityOf(class int, left time.Duration) Priority {
	column := 0
	for column < len(leftBounds) && left <= leftBounds[column] {
		column++
	}
	return priorities[min(max(class, 0), worstClass)][column]
}

// never is the time left of harm that does not come.
const never time.Duration = 1<<63 - 1

// shelveMax is the longest one shelving lasts. An urgent alarm can be put aside
// while somebody drives there, a lesser one until the next visit. Common
// practice, no source; IEC 62682 asks only that there is a limit.
var shelveMax = [...]time.Duration{
	NoPriority: 7 * 24 * time.Hour,
	Low:        7 * 24 * time.Hour,
	Medium:     3 * 24 * time.Hour,
	High:       12 * time.Hour,
	Critical:   time.Hour,
}

// ShelveMax is the longest a shelving of an alarm of this priority lasts.
func ShelveMax(p Priority) time.Duration { return shelveMax[min(p, Critical)] }

// word is a small number's word, or the number itself where it has none.
func word[N ~uint8](n N, words []string) string {
	if int(n) < len(words) {
		return words[n]
	}
	return fmt.Sprint(uint8(n))
}

// readWord finds the number whose word is text.
func readWord[N ~uint8](n *N, text string, words []string, what string) error {
	for i, w := range words {
		if w == text {
			*n = N(i)
			return nil
		}
	}
	return fmt.Errorf("%s %q: use one of %q", what, text, words)
}
