// Package report tells people what a check found out. It only words and draws:
// every number comes from verify, every drawing from chart.
//
//	report.Text(w, r, report.TextOptions{Width: 100})  // a terminal
//	report.HTML(w, r, report.Meta{...})                // a page to read, print and sign
//	report.JSON(w, r)                                  // other programs: docs/check-output.md
//	report.Trace(r, &row, samples).SVG(chart.Wide)     // one fault against time
//	report.TraceCSV(w, samples)
//
// Text and HTML say the same in the same words: both are made from one content,
// worked out in content.go. The order is that of a person in a hurry: the
// verdict in words, what to change, the drawing, what to set, and only then the
// proof.
package report
