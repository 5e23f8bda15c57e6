import { describe, expect, test } from 'vitest'
import type { Edge, EdgeRequest, Picture } from '../api/client'
import { asked, dose, doseML, offered, secondsLeft, stageWords, standing, written } from './remote'

const picture = (part: Partial<Picture>): Picture => ({
  at: '2026-11-25T10:00:00Z',
  phase: 'resting',
  reason: 'watch level wet, nothing to do',
  alarms: [],
  onHold: false,
  latched: false,
  valveShut: false,
  pump: false,
  horn: false,
  giveMostML: 900,
  ...part,
})

const edge = (linked: boolean, part: Partial<Picture>): Edge => ({ device: {} as Edge['device'], linked, requests: [], picture: picture(part) })

test.each([
  ['resting', 'watch level wet, nothing to do', 'Resting: watch level wet, nothing to do'],
  ['held', 'held by a person', 'Held by a person'],
  ['held', 'valve shut by a person', 'Held: valve shut by a person'],
  ['latched', 'water on the floor', 'Latched: water on the floor'],
])('%s and %s stand as one sentence', (phase, reason, words) => {
  expect(standing(picture({ phase, reason }))).toBe(words)
})

describe('what is offered', () => {
  test.each<[string, boolean, Partial<Picture>, string[]]>([
    ['at rest', true, {}, ['hold', 'give', 'shut-valve', 'proof-test']],
    ['while a test is under way', true, { proofTest: 'Wet the floor sensor' }, ['hold', 'give', 'shut-valve']],
    ['held', true, { phase: 'held', onHold: true }, ['resume', 'shut-valve']],
    ['shut', true, { phase: 'held', onHold: true, valveShut: true }, ['resume']],
    ['latched, with the horn on', true, { phase: 'latched', latched: true, horn: true }, ['hold', 'shut-valve', 'silence']],
    ['with nothing left to give', true, { giveMostML: 0 }, ['hold', 'shut-valve', 'proof-test']],
    ['without a link, only what keeps the pump off', false, { horn: true }, ['hold', 'shut-valve']],
    ['without a link, held', false, { onHold: true }, ['shut-valve']],
  ])('%s', (_, linked, part, kinds) => {
    expect(offered(edge(linked, part))).toEqual(kinds)
  })

  test('of an edge that was never heard of, nothing; and never to clear', () => {
    expect(offered({ ...edge(true, {}), picture: undefined })).toEqual([])
    expect(offered(edge(true, { latched: true, phase: 'latched' }))).not.toContain('clear')
  })
})

describe('a measured amount', () => {
  test.each([
    [900, 'metric', { unit: 'mL', step: 50, most: 900, decimals: 0 }],
    [1234, 'metric', { unit: 'mL', step: 100, most: 1200, decimals: 0 }],
    [37, 'metric', { unit: 'mL', step: 2, most: 36, decimals: 0 }],
    [4.4, 'metric', { unit: 'mL', step: 0.2, most: 4.4, decimals: 1 }],
    [900, 'us', { unit: 'fl oz', step: 2, most: 30, decimals: 0 }], // 30.43 fl oz
  ] as const)('of at most %s mL in %s goes in round steps', (most, units, want) => {
    expect(dose(most, units)).toEqual(want)
  })

  test('is never above the most, whatever is rounded', () => {
    for (let most = 1; most < 3000; most *= 1.07) {
      for (const units of ['metric', 'us'] as const) {
        const d = dose(most, units)
        expect(d.step).toBeGreaterThan(0)
        expect(d.most / d.step).toBeGreaterThan(8)
        expect(doseML(d.most, most, units)).toBeLessThanOrEqual(most)
        expect(doseML(d.most, most, units)).toBeGreaterThan(0.8 * most)
      }
    }
  })

  test('is written in the unit of the person', () => {
    expect(written(dose(900, 'us'), 4)).toBe('4\u00a0fl oz')
    expect(asked({ kind: 'give', giveML: 150 }, 'metric')).toBe('Give 150\u00a0mL')
    expect(asked({ kind: 'give', giveML: 29.5735295625 }, 'us')).toBe('Give 1.00\u00a0fl oz')
  })
})

describe('a request', () => {
  const request = (stage: EdgeRequest['stage'], why?: string): EdgeRequest => ({ id: 'r', kind: 'hold', who: 'vera', at: '2026-11-25T10:00:00Z', expires: '2026-11-25T10:00:30Z', stage, why })

  test('counts down and not below nothing', () => {
    const at = (seconds: number) => secondsLeft(request('asked'), Date.parse('2026-11-25T10:00:00Z') + seconds * 1000)
    expect([at(0), at(12.4), at(30), at(99)]).toEqual([30, 18, 0, 0])
  })

  test('says the guard’s reason, and does not call an unanswered one undone', () => {
    expect(stageWords(request('refused', 'pause between fills'))).toBe('Refused by the guard: pause between fills.')
    expect(stageWords(request('done', 'held by a person'))).toBe('Done; the guard says: held by a person.')
    expect(stageWords(request('done', 'go to the tank: wet the floor sensor.'))).toBe('Done; the guard says: go to the tank: wet the floor sensor.')
    expect(stageWords(request('unanswered', 'no answer'))).toMatch(/not known/)
  })
})
