// The small rules that stand alone.
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { Failure, sentence, wrongSentence } from '../api/client'
import { happenings } from './events'
import { spanOfLine } from './faults'
import { outside } from './plots'
import { pumpOf, reservoirOf, salinityOf, withHand } from './beliefs'
import { dayMS, ledgerSpan, ranges, rangeSince, sinceHeard } from './ranges'
import { shelfTimes } from './shelving'

test('the colours are those of the drawings, every one', () => {
  const go = readFileSync('../internal/chart/style.go', 'utf8')
  const drawn = [...go.matchAll(/\{"(\w+)", "(#\w{6})", "(#\w{6})"\}/g)].map((m) => m.slice(1))
  const css = readFileSync('src/look.css', 'utf8')
  const ours = [...css.matchAll(/--iso-(\w+): light-dark\((#\w{6}), (#\w{6})\)/g)].map((m) => m.slice(1))
  expect(drawn.length).toBeGreaterThan(10)
  expect(ours).toEqual(drawn)
})

describe('failures in a sentence', () => {
  test('with what is wrong, the value, and the fix', () => {
    const wrong = { field: 'body.value', value: '350', reason: 'is above 42 PSU', fix: 'give 5 to 42 PSU' }
    expect(wrongSentence(wrong)).toBe('value: “350” is above 42 PSU; give 5 to 42 PSU.')
    expect(sentence(new Failure('This cannot be right.', 422, [wrong]))).toBe(
      'This cannot be right. value: “350” is above 42 PSU; give 5 to 42 PSU.',
    )
  })
  test('with less', () => {
    expect(wrongSentence({ field: '', reason: 'it is empty' })).toBe('it is empty.')
    expect(sentence('odd')).toBe('odd')
  })
})

test.each([
  [1, 'a: 1'],
  [2, ''],
  [3, 'c: 3'],
  [0, 'a: 1'], // out of range: the nearest
  [9, 'c: 3'],
])('line %d is selected from end to end', (line, want) => {
  const text = 'a: 1\n\nc: 3'
  const { start, end } = spanOfLine(text, line)
  expect(text.slice(start, end)).toBe(want)
})

test('a ledger row is outside its band only beyond the limits', () => {
  const expected = { value: 5, low: 4, high: 6 }
  expect([3.99, 4, 6, 6.01].map((litres) => outside({ noon: 0, litres, expected }))).toEqual([-1, 0, 0, 1])
  expect(outside({ noon: 0, litres: 99 })).toBe(0) // nothing was expected
  // A day that is not over may have too much already, but not yet too little.
  expect([3, 5, 7].map((litres) => outside({ noon: 0, litres, expected, unfinished: true }))).toEqual([0, 0, 1])
})

test('the ledger shows a week at least, and longer ranges whole', () => {
  const hour = 3_600_000
  const day = (n: number, ms = 0) => new Date(n * dayMS + ms)
  const now = day(100, 10 * hour)
  // An hour until now: a week of whole days, and today as far as it has come.
  expect(ledgerSpan(day(100, 9 * hour), now, now)).toEqual({ from: day(94), to: now })
  // A month that ended some time ago: its first and last day are whole.
  expect(ledgerSpan(day(30, 10 * hour), day(60, 10 * hour), now)).toEqual({ from: day(30), to: day(61) })
})

test('days before anything was heard are not in the books', () => {
  const days = ['2026-11-23', '2026-11-24', '2026-11-25'].map((day) => ({ day }))
  const from = (ms: number | undefined) => sinceHeard(days, ms).map((d) => d.day.slice(-2))
  expect(from(Date.parse('2026-11-24T00:00:00Z'))).toEqual(['24', '25'])
  expect(from(Date.parse('2026-11-24T00:00:01Z'))).toEqual(['25'])
  expect(from(undefined)).toEqual(['23', '24', '25'])
})

test('ranges reach from an hour to two years, each longer than the one before', () => {
  const ms = ranges.map((r) => r.ms)
  expect(ms).toEqual([...ms].sort((a, b) => a - b))
  expect([ms[0], ms.at(-1)]).toEqual([3_600_000, 730 * dayMS])
})

test.each([
  [undefined, 'two weeks'],
  [1, 'one day'], // hours
  [18, 'one week'],
  [24 * 9, 'two weeks'],
  [24 * 9.5, 'one month'],
  [24 * 1000, 'two years'],
])('a finding of %s hours is seen in %s', (hours, want) => {
  const now = new Date(Date.UTC(2026, 10, 25))
  const since = hours === undefined ? undefined : new Date(now.getTime() - hours * 3_600_000).toISOString()
  expect(rangeSince(since, now).spoken).toBe(want)
})

test('what is believed lies in its band, and a pump never runs backwards', () => {
  const b = { stepS: 0, t: [1, 2], salinityPSU: [35, 34], salinitySD: [0.2, 0], pumpLitresMin: [0.1, 1], pumpSD: [0.5, 0.1], expectedLitresDay: [], expectedLitresDayLow: [], expectedLitresDayHigh: [], reservoirDays: [null, 6], reservoirDaysLow: [null, 5], reservoirDaysHigh: [null, 8] }
  const { low, high } = salinityOf(b)
  expect(low[0]).toBeCloseTo(34.671, 3) // 35 - 1.645 * 0.2: the normal distribution's 5 % quantile, NIST/SEMATECH e-Handbook, 1.3.6.7.1
  expect(high[0]).toBeCloseTo(35.329, 3)
  expect([low[1], high[1]]).toEqual([34, 34])
  expect(pumpOf(b).low).toEqual([0, 1 - 1.645 * 0.1])
  expect(reservoirOf(b)).toMatchObject({ t: [2], value: [6], low: [5], high: [8] })
  const rows = withHand(salinityOf(b), [{ t: 1.5, value: 34.4 }])
  expect(rows.t).toEqual([1, 1.5, 2])
  expect(rows.byHand).toEqual([null, 34.4, null])
  expect(rows.mean).toEqual([35, null, 34])
})

test.each([
  [0, []],
  [600, ['10 minutes']], // shorter than anything on offer: what it allows
  [900, ['15 minutes']],
  [899 + 3600, ['15 minutes', '1 hour']],
  [604_800, ['15 minutes', '1 hour', '4 hours', '8 hours', '1 day', '3 days', '1 week']],
])('an alarm that may rest %d s', (longestS, want) => {
  expect(shelfTimes(longestS).map((t) => t.name)).toEqual(want)
})

test('fills of a day are one line, until something else happens', () => {
  const at = (day: number, hour: number) => new Date(2026, 10, day, hour).toISOString()
  const fill = (day: number, hour: number) => ({ at: at(day, hour), kind: 'fill' as const, words: 'the pump ran' })
  const hand = { at: at(25, 8), kind: 'hand' as const, words: 'salinity 35 PSU', by: 'ada' }
  const told = happenings([fill(25, 12), fill(25, 9), hand, fill(25, 6), fill(24, 23)])
  expect(told.map(({ event, fills, since }) => [event.at, fills, since])).toEqual([
    [at(25, 12), 2, at(25, 9)],
    [hand.at, 0, hand.at],
    [at(25, 6), 1, at(25, 6)],
    [at(24, 23), 1, at(24, 23)], // the day before is another line
  ])
})
