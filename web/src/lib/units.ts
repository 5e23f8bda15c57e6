// Numbers for a person, in the units that person chose. The server speaks
// litres, mm and °C, always; so do the sentences of findings.

export type Units = 'metric' | 'us'

// 1 US gallon is 231 cubic inches and 1 inch 25.4 mm, both exactly (NIST
// Handbook 44, appendix C).
const litresPerGallon = 3.785411784
const mmPerInch = 25.4

interface Conversion {
  unit: string
  from: (value: number) => number
  /** A spread has a slope but no zero of its own. */
  spread: (value: number) => number
}

const scaled = (unit: string, divisor: number): Conversion => ({
  unit,
  from: (value) => value / divisor,
  spread: (value) => value / divisor,
})

// Spelled as the server spells units.
const toUS: Record<string, Conversion> = {
  L: scaled('gal', litresPerGallon),
  'L/day': scaled('gal/day', litresPerGallon),
  'L a day': scaled('gal a day', litresPerGallon),
  'L/d': scaled('gal/d', litresPerGallon),
  'L/min': scaled('gal/min', litresPerGallon),
  'L/h': scaled('gal/h', litresPerGallon),
  mL: scaled('fl oz', 29.5735295625), // 1/128 gallon
  mm: scaled('in', mmPerInch),
  cm: scaled('in', mmPerInch / 10),
  m: scaled('ft', 0.3048),
  '°C': { unit: '°F', from: (c) => c * 1.8 + 32, spread: (c) => c * 1.8 },
  '°C difference': { unit: '°F difference', from: (c) => c * 1.8, spread: (c) => c * 1.8 },
}

const minus = '−'
const noBreak = '\u00a0'

/** A number with the given count of decimals and a true minus sign. */
export function digits(value: number, decimals: number): string {
  const text = value.toFixed(decimals)
  const zero = Number(text) === 0
  return zero ? text.replace('-', '') : text.replace('-', minus)
}

/** How many decimals show three figures, between none and three. */
export function decimalsFor(value: number): number {
  const size = Math.abs(value)
  if (!Number.isFinite(size) || size >= 100) return 0
  if (size >= 10) return 1
  return size >= 1 || size === 0 ? 2 : 3
}

/**
 * The decimals of a value whose spread is known: one figure of the spread, two
 * if it begins with 1, where one figure would be coarse.
 */
function decimalsOfSpread(sd: number): number {
  const size = Math.floor(Math.log10(sd))
  const leading = Math.floor(sd / 10 ** size)
  return Math.min(3, Math.max(0, (leading === 1 ? 1 : 0) - size))
}

export function convert(value: number, unit: string, units: Units): { value: number; unit: string } {
  const to = units === 'us' ? toUS[unit] : undefined
  return to ? { value: to.from(value), unit: to.unit } : { value, unit }
}

/** What a person typed in the unit shown, in the server's: all conversions are straight lines. */
export function convertBack(typed: number, unit: string, units: Units): number {
  const zero = convert(0, unit, units).value
  return (typed - zero) / (convert(1, unit, units).value - zero)
}

/** What a person typed in the unit shown for litres, in litres. */
export const litresFrom = (typed: number, units: Units) => (units === 'us' ? typed * litresPerGallon : typed)

const convertSpread = (sd: number, unit: string, units: Units) =>
  units === 'us' ? (toUS[unit]?.spread(sd) ?? sd) : sd

const joined = (number: string, unit: string) =>
  unit === '' ? number : `${number}${noBreak}${unit}`

/** "7.42 L/day" */
export function quantity(value: number, unit: string, units: Units, decimals?: number): string {
  const shown = convert(value, unit, units)
  return joined(digits(shown.value, decimals ?? decimalsFor(shown.value)), shown.unit)
}

/** "7.4 ± 0.3 L/day", the spread being one standard deviation. */
export function withSpread(value: number, sd: number, unit: string, units: Units): string {
  if (!(sd > 0)) return quantity(value, unit, units)
  const shown = convert(value, unit, units)
  const spread = convertSpread(sd, unit, units)
  const decimals = decimalsOfSpread(spread)
  return joined(`${digits(shown.value, decimals)} ± ${digits(spread, decimals)}`, shown.unit)
}

/** Nine cases in ten lie within this many standard deviations of a normal mean. */
export const nineInTen = 1.645

/** The decimals that the ends of a band of nine cases in ten call for. */
export function decimalsOfBand(low: number, high: number, unit: string, units: Units): number | undefined {
  const sd = convertSpread((high - low) / (2 * nineInTen), unit, units)
  return sd > 0 ? decimalsOfSpread(sd) : undefined
}

const number = '[−-]?\\d[\\d,]*(?:\\.\\d+)?'
const longestFirst = Object.keys(toUS).sort((a, b) => b.length - a.length)

/** What was expected beside a value with a spread, to as many decimals. */
export function expectedBeside(expected: number, sd: number, unit: string, units: Units): string {
  const spread = convertSpread(sd, unit, units)
  return quantity(expected, unit, units, spread > 0 ? decimalsOfSpread(spread) : undefined)
}

// "2.1 L", and "7.4 ± 0.3 L" or "2 to 5 L", where one unit serves two numbers.
// The unit does not run on into a word. A "by" before, or "more" and the like
// behind, tells a difference, which matters where a unit has a zero of its own.
const measure = new RegExp(
  `(?<![\\w.])(by )?(?:(${number})(\\s?(?:±|–|to|and|of)\\s?))?(${number})\\s(${longestFirst.join('|')})(?![\\w/°-])(?=( (?:more|less|warmer|colder|cooler|higher|lower|above|below)\\b)?)`,
  'g',
)

const parse = (text: string) => Number(text.replaceAll(',', '').replace(minus, '-'))

/** A metric sentence in a person's units. Only numbers with a unit change. */
export function inUnits(text: string, units: Units): string {
  if (units === 'metric') return text
  return text.replace(
    measure,
    (_, by = '', first: string | undefined, between = '', second: string, unit: string, more?: string) => {
      const rounded = (value: number) => digits(value, decimalsFor(value))
      const difference = by !== '' || more !== undefined
      const shown = (value: number, spread: boolean) =>
        rounded(spread ? convertSpread(value, unit, units) : convert(value, unit, units).value)
      const before = first === undefined ? '' : shown(parse(first), difference) + between
      const last = shown(parse(second), difference || between.includes('±'))
      return by + before + joined(last, convert(0, unit, units).unit)
    },
  )
}
