import { describe, expect, test } from 'vitest'
import { convert, decimalsFor, digits, expectedBeside, inUnits, litresFrom, quantity, withSpread } from './units'

const noBreak = '\u00a0'

// Handbook values: NIST Special Publication 811 (2008), appendix B.8, to its
// digits. The tolerance is half of the last digit printed there.
test.each([
  ['1 gal is 3.785412 L', 3.785412, 'L', 1, 5e-7],
  ['1 in is 25.4 mm', 25.4, 'mm', 1, 1e-12],
  ['1 ft is 0.3048 m', 0.3048, 'm', 1, 1e-12],
  ['1 fl oz is 29.57353 mL', 29.57353, 'mL', 1, 5e-7],
  ['water boils at 212 °F', 100, '°C', 212, 1e-9],
  ['the two scales meet at -40', -40, '°C', -40, 1e-9],
])('%s', (_, value, unit, want, tolerance) => {
  expect(Math.abs(convert(value, unit, 'us').value - want)).toBeLessThanOrEqual(tolerance)
})

test('salinity and dKH are the same everywhere', () => {
  expect(convert(35, 'PSU', 'us')).toEqual({ value: 35, unit: 'PSU' })
  expect(convert(8, 'dKH', 'us')).toEqual({ value: 8, unit: 'dKH' })
})

test.each([
  [0, 2, '0.00'],
  [-0.001, 2, '0.00'], // never −0.00
  [-1.5, 1, '−1.5'],
  [1234.5, 0, '1235'],
])('digits(%d, %d) is %s', (value, decimals, want) => {
  expect(digits(value, decimals)).toBe(want)
})

test.each([
  [0, 2],
  [0.4, 3],
  [1, 2],
  [9.99, 2],
  [10, 1],
  [99.9, 1],
  [100, 0],
  [-250, 0],
  [Infinity, 0],
])('decimalsFor(%d) is %d', (value, want) => {
  expect(decimalsFor(value)).toBe(want)
})

describe('a spread decides the decimals', () => {
  test.each([
    [7.42, 0.31, 'L/day', 'metric', `7.4 ± 0.3${noBreak}L/day`],
    [7.42, 0.13, 'L/day', 'metric', `7.42 ± 0.13${noBreak}L/day`], // a leading 1 keeps two figures
    [58.2, 3, 'L', 'metric', `58 ± 3${noBreak}L`],
    [7.42, 0, 'L/day', 'metric', `7.42${noBreak}L/day`], // no spread known
    [25, 0.5, '°C', 'us', `77.0 ± 0.9${noBreak}°F`], // a spread has no zero of its own
  ] as const)('%d ± %d %s in %s', (value, sd, unit, units, want) => {
    expect(withSpread(value, sd, unit, units)).toBe(want)
  })

  test('and of what was expected beside it', () => {
    expect(expectedBeside(7.25, 0.31, 'L/day', 'metric')).toBe(`7.3${noBreak}L/day`)
    expect(expectedBeside(0, 0, 'min', 'metric')).toBe(`0.00${noBreak}min`)
  })
})

test('a quantity without a unit is only a number', () => {
  expect(quantity(3, '', 'metric')).toBe('3.00')
})

test('what is typed in gallons or litres comes back in litres', () => {
  expect(litresFrom(5, 'metric')).toBe(5)
  expect(convert(litresFrom(5, 'us'), 'L', 'us').value).toBeCloseTo(5, 12)
})

describe('sentences in US units', () => {
  test.each([
    ['drinking 2.1 L a day more', `drinking 0.555${noBreak}gal a day more`],
    ['7.4 ± 0.3 L/day', `1.95 ± 0.079${noBreak}gal/day`],
    ['between 2 to 5 L', `between 0.528 to 1.32${noBreak}gal`],
    ['at 25.0 °C', `at 77.0${noBreak}°F`],
    ['it is 25 ± 1 °C', `it is 77.0 ± 1.80${noBreak}°F`],
    ['rose by 5 ± 1 °C', `rose by 9.00 ± 1.80${noBreak}°F`], // a difference has no zero of its own
    ['2 °C warmer than the room', `3.60${noBreak}°F warmer than the room`],
    ['41 mm above', `1.61${noBreak}in above`],
    ['in all 1,200 L', `in all 317${noBreak}gal`],
    ['ran for 42 s', 'ran for 42 s'], // seconds are seconds
    ['34.1 PSU in 3 days', '34.1 PSU in 3 days'],
    ['2 more tanks, 5 Large ones, 3 mmol', '2 more tanks, 5 Large ones, 3 mmol'], // letters that only begin like units
    ['tank-12 L-shaped', 'tank-12 L-shaped'],
  ])('%s', (metric, us) => {
    expect(inUnits(metric, 'us')).toBe(us)
    expect(inUnits(metric, 'metric')).toBe(metric)
  })
})
