import { describe, expect, test } from 'vitest'
import { ago, capital, codeName, harmAhead, shortSpan, span, sure, when } from './words'

const second = 1000
const minute = 60 * second
const hour = 60 * minute
const day = 24 * hour

describe('spans change their unit where it helps', () => {
  test.each([
    [59 * second, 'less than a minute', '1 min'],
    [minute, '1 minute', '1 min'],
    [89 * minute, '89 minutes', '89 min'],
    [90 * minute, '2 hours', '2 h'],
    [35 * hour, '35 hours', '35 h'],
    [36 * hour, '2 days', '2 d'],
    [20 * day, '20 days', '20 d'],
    [21 * day, '3 weeks', '21 d'],
    [119 * day, '17 weeks', '4 mo'],
    [120 * day, '4 months', '4 mo'],
    [-5 * hour, '5 hours', '5 h'],
  ])('%d ms', (ms, long, short) => {
    expect(span(ms)).toBe(long)
    expect(shortSpan(ms)).toBe(short)
  })
})

// A Wednesday, in local time whatever the zone of the machine.
const now = new Date(2026, 10, 25, 10, 30)
const at = (ms: number) => new Date(now.getTime() + ms).toISOString()

describe('when', () => {
  test.each([
    [0, '10:30'],
    [-10.5 * hour, '00:00'], // the first minute of today
    [-10.5 * hour - minute, 'Tue 23:59'],
    [-6 * day + minute, 'Thu 10:31'],
    [-6 * day, '19 Nov'],
    [-299 * day, '30 Jan'],
    [-301 * day, '28 Jan 2026'],
    [13.5 * hour, 'Thu 00:00'], // what is to come, too
  ])('%d ms from now', (ms, want) => {
    expect(when(at(ms), now, 'metric')).toBe(want)
  })

  test('the American way', () => {
    expect(when(at(-20 * day), now, 'us')).toBe('Nov 5')
    expect(when(at(3 * hour), now, 'us')).toMatch(/^01:30\sPM$/)
  })
})

test('ago', () => {
  expect(ago(at(-59 * second), now)).toBe('just now')
  expect(ago(at(-minute), now)).toBe('1 minute ago')
  expect(ago(at(5 * second), now)).toBe('just now') // a device whose clock is ahead
})

describe('harm ahead', () => {
  test.each([
    [{ class: 2 }, 'animals stressed'],
    [{ class: 3, harmAt: at(5 * hour) }, 'animals at risk or a wet floor in about 5 hours'],
    [{ class: 4, harmAt: at(-minute) }, 'loss of the tank or a flooded building, by now'],
    [{ class: 3, harmAt: at(minute - 1) }, 'animals at risk or a wet floor, by now'],
    [{ class: 3, harmAt: at(minute) }, 'animals at risk or a wet floor in about 1 minute'],
    [{ class: 7 }, 'harm class 7'],
  ])('%o', (finding, want) => {
    expect(harmAhead(finding, now)).toBe(want)
  })
})

test.each([
  [0.942, '94'],
  [1, '99'], // nothing is certain
  [0, '1'],
])('sure(%d) says %s %%', (confidence, percent) => {
  expect(sure(confidence)).toBe(`${percent}\u00a0% sure`)
})

test('a code without a name of its own can be read', () => {
  expect(codeName('tank-leak')).toBe('tank water leaking')
  expect(codeName('tide-turned')).toBe('tide turned')
  expect(capital('été')).toBe('Été')
  expect(capital('')).toBe('')
})
