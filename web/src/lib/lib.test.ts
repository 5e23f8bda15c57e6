// The small rules that stand alone.
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { Failure, sentence, wrongSentence } from '../api/client'
import { spanOfLine } from './faults'
import { outside } from './plots'
import { dayMS, ledgerSpan, ranges } from './ranges'
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
})

test('the ledger shows a week at least, and longer ranges whole', () => {
  const to = new Date(100 * dayMS)
  expect(ledgerSpan(new Date(to.getTime() - 3_600_000), to).from).toEqual(new Date(94 * dayMS))
  expect(ledgerSpan(new Date(9 * dayMS), to).from).toEqual(new Date(9 * dayMS))
})

test('ranges reach from an hour to two years, each longer than the one before', () => {
  const ms = ranges.map((r) => r.ms)
  expect(ms).toEqual([...ms].sort((a, b) => a - b))
  expect([ms[0], ms.at(-1)]).toEqual([3_600_000, 730 * dayMS])
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
