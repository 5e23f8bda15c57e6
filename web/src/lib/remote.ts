// Acting from afar, in words: how a tank's edge stands, what may be asked of it,
// and how far a request has come. The guard decides; the pages only ask.
import type { Edge, EdgeRequest, Picture } from '../api/client'
import { convert, convertBack, digits, quantity, type Units } from './units'
import { capital } from './words'

export type Kind = EdgeRequest['kind']

/** "Held by a person", "Latched: water on the floor": the state, and why. */
export function standing({ phase, reason }: Picture): string {
  return capital(reason.startsWith(phase) ? reason : `${phase}: ${reason}`)
}

const names: Record<Kind, string> = {
  hold: 'Hold',
  resume: 'Resume',
  give: 'Give',
  'shut-valve': 'Close the valve',
  silence: 'Silence the horn',
  'proof-test': 'Start a proof test',
  clear: 'Clear the fault',
}

/** "Hold", "Give 150 mL" */
export function asked({ kind, giveML }: Pick<EdgeRequest, 'kind' | 'giveML'>, units: Units): string {
  return giveML ? `${names[kind]} ${quantity(giveML, 'mL', units)}` : names[kind]
}

/**
 * What makes sense to ask now. Without a link nobody sees the tank, and only what
 * keeps the pump off is offered: it is done if the link is back in time.
 */
export function offered({ linked, picture }: Edge): Kind[] {
  if (!picture) return []
  const { onHold, valveShut, horn, giveMostML, latched, phase, proofTest } = picture
  const makesSense: [Kind, boolean][] = [
    ['hold', !onHold],
    ['resume', linked && onHold],
    ['give', linked && giveMostML >= leastML && !onHold && !latched],
    ['shut-valve', !valveShut],
    ['proof-test', linked && phase === 'resting' && !proofTest],
    ['silence', linked && horn],
  ]
  return makesSense.filter(([, sense]) => sense).map(([kind]) => kind)
}

const leastML = 1

interface Dose {
  unit: string
  /** in the unit */
  step: number
  most: number
  decimals: number
}

/** How a measured amount is chosen: round steps, from one of them, never above the most. */
export function dose(mostML: number, units: Units): Dose {
  const { value: most, unit } = convert(mostML, 'mL', units)
  // Of 1, 2 or 5 times a power of ten, the largest that gives ten steps or more.
  const power = 10 ** Math.floor(Math.log10(most / 10))
  const step = power * ([5, 2].find((n) => n * power <= most / 10) ?? 1)
  const decimals = Math.max(0, -Math.floor(Math.log10(step)))
  const whole = Math.floor(most / step)
  const exact = (steps: number) => Number((steps * step).toFixed(decimals))
  return { unit, step: exact(1), most: exact(whole), decimals }
}

/** The amount chosen in the unit shown, in mL and never above the most. */
export const doseML = (chosen: number, mostML: number, units: Units): number =>
  Math.min(mostML, convertBack(chosen, 'mL', units))

/** "350 mL" as the stepper writes it */
export const written = ({ decimals, unit }: Dose, chosen: number): string => `${digits(chosen, decimals)}\u00a0${unit}`

export const settled = ({ stage }: EdgeRequest): boolean => stage !== 'asked' && stage !== 'received'

/** How long a request is still good for, whole seconds; 0: no edge takes it now. */
export const secondsLeft = ({ expires }: EdgeRequest, nowMS: number): number =>
  Math.max(0, Math.ceil((Date.parse(expires) - nowMS) / 1000))

/** How far a request has come, in a sentence. */
export function stageWords({ stage, why: reason }: EdgeRequest): string {
  const why = reason?.replace(/\.$/, '')
  switch (stage) {
    case 'asked':
      return 'Asked. No word from the tank yet.'
    case 'received':
      return 'The edge has it in hand.'
    case 'done':
      return why ? `Done; the guard says: ${why}.` : 'Done.'
    case 'refused':
      return `Refused by the guard: ${why || 'it gives no reason'}.`
    case 'unanswered':
      return 'Unanswered. The time in which an edge takes it is over; whether it was done is not known from here. Look how the tank stands before you ask again.'
  }
}
