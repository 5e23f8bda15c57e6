// What was used last of what a person may measure with.
import type { Measure } from '../api/client'

type Kind = Measure['kind']
export type Instrument = Measure['instruments'][number]

const key = (kind: Kind) => `isohaline.instrument.${kind}`

/** The instrument and unit used last for a kind, so that they need no tap. */
export function lastUsed(measure: Measure): { instrument: Instrument; unit: string } {
  const [instrument, unit] = (localStorage.getItem(key(measure.kind)) ?? '').split('|')
  return {
    instrument: measure.instruments.find((i) => i === instrument) ?? measure.instruments[0] ?? 'other',
    unit: measure.units.find((u) => u === unit) ?? measure.units[0] ?? '',
  }
}

export function remember(kind: Kind, instrument: Instrument, unit: string) {
  localStorage.setItem(key(kind), `${instrument}|${unit}`)
}
