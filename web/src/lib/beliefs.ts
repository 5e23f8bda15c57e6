// What the account believed over time, as charts: a value with the band that
// holds it in nine cases of ten.
import type { Beliefs, HandReading } from '../api/client'
import { nineInTen } from './units'

export interface Believed {
  unit: string
  t: number[]
  value: number[]
  low: number[]
  high: number[]
}

const banded = (unit: string, t: number[], value: number[], sd: number[], least = -Infinity): Believed => ({
  unit,
  t,
  value,
  low: value.map((v, i) => Math.max(least, v - nineInTen * (sd[i] ?? 0))),
  high: value.map((v, i) => v + nineInTen * (sd[i] ?? 0)),
})

export const salinityOf = (b: Beliefs): Believed => banded('PSU', b.t, b.salinityPSU, b.salinitySD)

// A pump does not run backwards, however little is known of it.
export const pumpOf = (b: Beliefs): Believed => banded('L/min', b.t, b.pumpLitresMin, b.pumpSD, 0)

/** How long the reservoir was to last, where somebody knew what was in it. */
export function reservoirOf(b: Beliefs): Believed {
  const known = b.t.flatMap((t, i) => {
    const [low, value, high] = [b.reservoirDaysLow[i], b.reservoirDays[i], b.reservoirDaysHigh[i]]
    return low == null || value == null || high == null ? [] : [{ t, low, value, high }]
  })
  const column = (key: 't' | 'low' | 'value' | 'high') => known.map((row) => row[key])
  return { unit: 'days', t: column('t'), value: column('value'), low: column('low'), high: column('high') }
}

/** Rows of a chart: what was believed, with what was measured by hand between. */
export function withHand(b: Believed, hand: { t: number; value: number }[]) {
  const rows = [
    ...b.t.map((t, i) => ({ t, mean: b.value[i] ?? null, min: b.low[i] ?? null, max: b.high[i] ?? null, hand: null as number | null })),
    ...hand.map(({ t, value }) => ({ t, mean: null, min: null, max: null, hand: value })),
  ].sort((a, b) => a.t - b.t)
  return {
    t: rows.map((r) => r.t),
    mean: rows.map((r) => r.mean),
    min: rows.map((r) => r.min),
    max: rows.map((r) => r.max),
    byHand: hand.length > 0 ? rows.map((r) => r.hand) : undefined,
  }
}

export const handOf = (readings: HandReading[], kind: HandReading['kind']) =>
  readings.filter((r) => r.kind === kind).map((r) => ({ t: Date.parse(r.at) / 1000, value: r.value }))
