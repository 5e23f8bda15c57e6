// What a person may measure, with what, and in which units it may be typed.
import type { components } from '../api/schema'

type Body = components['schemas']['HandReadingInBody']
export type Kind = Body['kind']
export type Instrument = Body['instrument']

interface Measure {
  kind: Kind
  name: string
  instruments: Instrument[]
  /** as the server reads them behind a number */
  units: string[]
}

export const measures: Measure[] = [
  {
    kind: 'salinity',
    name: 'Salinity',
    instruments: ['refractometer', 'conductivity meter', 'hydrometer', 'other'],
    units: ['PSU', 'SG', 'mS/cm'],
  },
  { kind: 'temperature', name: 'Temperature', instruments: ['thermometer', 'other'], units: ['°C', '°F'] },
  { kind: 'alkalinity', name: 'Alkalinity', instruments: ['titration', 'colorimeter', 'other'], units: ['dKH', 'meq/L'] },
]

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
