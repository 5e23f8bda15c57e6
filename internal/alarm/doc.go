// Package alarm decides what needs a person, how urgently, and who is told
// when. Findings and other conditions go in; alarms with a life cycle after IEC
// 62682:2014 (ANSI/ISA-18.2-2016) come out, and the messages to send.
//
// Two pure functions do it, and neither reads a clock or sends anything:
//
//	state, transitions := alarm.Step(&settings, state, event, now)
//	record, decision := alarm.Decide(&plan, state, record, now)
//
// Step carries the alarms of one site through their states. Decide compares
// them with the record of who was told, and answers what to send now and when
// to ask again. A caller saves state and record after each call, so that
// another process can take them up; package deliver does the sending.
//
// Three things keep a person's attention for what deserves it. A condition must
// last before it is an alarm and must stay away before it is over (Kind.OnDelay,
// Kind.OffDelay). An alarm whose cause is itself an alarm is suppressed by
// design (Kind.SilencedBy), so a power cut is one alarm and not nine. And the
// priority, from the harm class and the time left until harm, decides who is
// woken (PriorityOf).
//
// Nothing is silenced for ever by that: shelving ends by itself, a cause never
// silences what is more urgent than the cause, what a suppression hid is looked
// at again when it ends, and a latched alarm stays until a person has both
// acknowledged and reset it.
//
// The standards are cited from memory, by what their state diagram and its
// states are called; docs/alarms.md says where this package is stricter.
package alarm
