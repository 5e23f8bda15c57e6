import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { at, begin, dayOf, decimalsOfStep, logLine, newLine, newReading, onDay, put, questions, reading, stepIn, type Body, type Entry } from './bench'
import { courses } from './plots'
import { convert, convertBack } from './units'

interface Shape {
  $ref?: string
  type?: string | string[]
  minimum?: number
  maximum?: number
  exclusiveMinimum?: number
  enum?: string[]
  items?: Shape
  properties?: Record<string, Shape>
  required?: string[]
}

const document = JSON.parse(readFileSync('openapi.json', 'utf8')) as { components: { schemas: Record<string, Shape> } }
const resolve = (shape: Shape | undefined): Shape | undefined =>
  shape?.$ref ? document.components.schemas[shape.$ref.split('/').at(-1) ?? ''] : shape

function shapeAt(schema: string, path: string): { shape: Shape | undefined; required: boolean } {
  let within = document.components.schemas[schema]
  let required = false
  for (const key of path.split('.')) {
    if (/^\d+$/.test(key)) {
      within = resolve(within?.items)
    } else {
      required = within?.required?.includes(key) ?? false
      within = resolve(within?.properties?.[key])
    }
  }
  return { shape: within, required }
}

const entriesOf = (id: string): Entry[] => {
  const question = questions.find((q) => q.id === id)
  if (id === 'convert') return reading('reading.', 'hydrometer')
  if (id === 'agree') return reading('readings.0.', 'hydrometer')
  if (id === 'use') return [...(question?.entries ?? []), ...logLine('log.0.', 'water-change')]
  return [...(question?.entries ?? []), ...(question?.more ?? [])]
}

describe.each(questions)('the question $id', ({ id, schema, start }) => {
  test.each(entriesOf(id).map((entry) => [entry.path, entry] as const))('takes %s as the server does', (path, entry) => {
    const { shape, required } = shapeAt(schema, path)
    expect(shape, `${path} is not in the document`).toBeDefined()
    if (entry.choices) {
      expect(entry.choices.map(([value]) => value).toSorted()).toEqual(shape?.enum?.toSorted())
      return
    }
    expect(entry.max).toBe(shape?.maximum)
    if (shape?.exclusiveMinimum === undefined) expect(entry.min).toBe(shape?.minimum)
    else expect(entry.min).toBeGreaterThan(shape.exclusiveMinimum)
    // What must be there cannot be left out.
    if (required) expect(entry.from).toBeUndefined()
    expect(at(start, path) !== undefined || !required).toBe(true)
  })
})

test('values stand at paths, in lists too', () => {
  const body: Body = { readings: [newReading(), newReading('density')] }
  expect(at(body, 'readings.1.value')).toBe(1023.3)
  put(body, 'readings.1.value', 1024)
  put(body, 'readings.0.tempC', undefined)
  expect(body).toEqual({ readings: [{ instrument: 'refractometer', value: 35 }, { instrument: 'density', value: 1024, tempC: 25 }] })
  expect(at(body, 'water.tempC')).toBeUndefined()
  put(body, 'water.tempC', 25) // there is no such place
  expect(at(body, 'water.tempC')).toBeUndefined()
})

test('a line of a log has the unit of what it is about, and moves to another day at its time', () => {
  const units = (what: string) => logLine('log.0.', what).flatMap(({ path, unit }) => (path.endsWith('amount') ? [unit] : []))
  expect([units('alkalinity'), units('magnesium'), units('water-change'), units('sodium-carbonate')]).toEqual([['dKH'], ['mg/L'], ['L'], ['g']])
  expect(newLine(new Date(0), 'calcium')).toEqual({ at: '1970-01-01T00:00:00.000Z', what: 'calcium', amount: 420 })
  const evening = new Date(2026, 10, 22, 23, 40).toISOString()
  expect(dayOf(evening)).toBe('2026-11-22')
  expect(onDay(evening, '2026-11-03')).toBe(new Date(2026, 10, 3, 23, 40).toISOString())
  expect(onDay(evening, '')).toBeUndefined()
})

test('what makes a tank saltier is saltier; what is given stays', () => {
  const salt = questions.find((q) => q.id === 'salt')
  if (!salt) throw new Error('there is no such question')
  expect(begin(salt, { salinityPSU: 33, targetPSU: 35 })).toMatchObject({ supplyPSU: 40 })
  expect(begin(salt, { salinityPSU: 36, targetPSU: 35 })).not.toHaveProperty('supplyPSU')
  expect(begin(salt, { salinityPSU: 33, targetPSU: 35, supplyPSU: 37 })).toMatchObject({ supplyPSU: 37 })
  expect(begin(salt, undefined)).toBe(salt.start)
})

test('an RO/DI unit of which only the need is known begins as a usual one', () => {
  const source = questions.find((q) => q.id === 'source')
  if (!source) throw new Error('there is no such question')
  expect(begin(source, { litresDay: 13, ratedLitresDay: 0, pressureBar: 0, tempC: 0, tdsMgL: 0 })).toEqual({ ...source.start, litresDay: 13 })
})

// 1 US gallon is 3.785411784 L exactly (NIST Handbook 44, appendix C); a kelvin is 1.8 °F.
test.each([
  ['L', 10, 5], // 2.64 gal
  ['L', 1, 0.5], // 0.264 gal
  ['°C', 0.5, 1], // 0.9 °F
  ['PSU', 0.1, 0.1],
])('steps of %s are round in US units, too', (unit, step, want) => {
  const entry: Entry = { path: 'x', label: 'x', unit, step }
  expect(stepIn(entry, 'metric')).toBe(step)
  expect(stepIn(entry, 'us')).toBeCloseTo(want, 9)
})

test.each([[10, 0], [1, 0], [0.5, 1], [0.1, 1], [0.05, 2], [0.0005, 4]])('a step of %d needs %d decimals', (step, decimals) => {
  expect(decimalsOfStep(step)).toBe(decimals)
})

test.each(['L', '°C', 'L/day', 'L/h', 'dKH'])('what is typed in %s comes back as it was shown', (unit) => {
  for (const units of ['metric', 'us'] as const) {
    for (const value of [-3, 0, 0.37, 25.3, 1460]) expect(convertBack(convert(value, unit, units).value, unit, units)).toBeCloseTo(value, 9)
  }
})

test('courses of unlike times share one axis, each with its own points and band', () => {
  const drawn = courses(
    [
      { name: 'by hand', t: [0, 10, 10, 20], value: [35, 36, 35, 36], low: [34, 35, 34, 35], high: [36, 37, 36, 37] },
      { name: 'by itself', t: [0, 15], value: [35, 35] },
    ],
    'PSU',
    'metric',
  )
  const [t, high, low, value, , , other] = drawn.data as unknown as (number | null)[][]
  expect(t).toEqual([0, 0, 10, 10, 15, 20])
  expect(value).toEqual([35, null, 36, 35, null, 36]) // what fell at one moment stays in its order
  expect(other).toEqual([null, 35, null, null, 35, null])
  expect([high?.[2], low?.[2]]).toEqual([37, 35])
  expect(drawn.reads(2)).toMatch(/: 36\.0\u00a0PSU, by hand$/)
})
