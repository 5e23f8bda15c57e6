// Package bench is the water bench: the questions that come up with a test kit
// in the hand, each answered with its reasons.
//
//	question                        type
//	what does the tank use up       Consumption
//	what puts it right, how fast    Correction
//	too salty, not salty enough     SalinityMove
//	small changes or one large      WaterChanges
//	what a top-off does at once     TopOffShock
//	a month by hand or automatic    HandTopOff
//	lime water in the reservoir     LimeSupply
//	what this reading means         Conversion
//	which instrument is off         Agreement
//	a fluid to calibrate with       CalibrationFluid
//	what the RO/DI unit gives       SourceWater
//
// A question is a struct of numbers in the units that their names end in. Its
// tags say the rest once for every door: the range that is taken (minimum,
// maximum), what it means (doc), how the command line reads it (name, type).
// Ask checks the ranges, so that the document of the interface, the command line
// and the code cannot disagree; Answer is one shape for all.
//
// # Error bars
//
// Low and high ends of a figure hold nine cases in ten, after the errors of the
// readings and of what else was measured; they are carried through by
// differences, so they hold while an error is small against what it belongs to.
// What the published constants do not know (package carbonate) is in them where
// a figure is an absolute pH or saturation, and cancels where it is a change.
//
// # What is left out
//
// Chemistry takes the ions other than alkalinity, calcium and magnesium to stand
// as in the sea, and nothing to precipitate: where it might, a caution says so.
package bench
