package account

import "fmt"

// changeWords are the guide's words for what may have changed.
var changeWords = [changes]string{
	airChanged: "the air", leakChanged: "a leak", splitWrong: "litres right, salt wrong", flowChanged: "the pump's flow",
	bandChanged: "the watch sensor's lower level", overrun: "the watch sensor's upper level", saltStepped: "salt at once, or its instrument",
	gaugeStepped: "the gauge's zero", watchMoved: "the watch sensor against the gauge", levelMoved: "water by hand",
}

// ThresholdRows are how the guide's rows of the tests begin.
func ThresholdRows() []string {
	var rows []string
	for c, words := range changeWords {
		rows = append(rows, fmt.Sprintf("| %s | %g |", words, thresholds[c]))
	}
	return rows
}
