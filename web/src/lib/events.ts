// What happened at a tank, as a person tells it: a day of fills is one line.
import type { TankEvent } from '../api/client'

/** One line: an event, or a run of fills with nothing between them. */
export interface Happening {
  event: TankEvent
  /** how many fills, and when the first of them was */
  fills: number
  since: string
}

const sameDay = (a: string, b: string) => new Date(a).toDateString() === new Date(b).toDateString()

/** Events, newest first, with the fills of a day drawn together while nothing else happens. */
export function happenings(events: TankEvent[]): Happening[] {
  const told: Happening[] = []
  for (const event of events) {
    const before = told.at(-1)
    const joins = event.kind === 'fill' && before?.event.kind === 'fill' && sameDay(event.at, before.event.at)
    if (joins) {
      before.fills++
      before.since = event.at
    } else {
      told.push({ event, fills: event.kind === 'fill' ? 1 : 0, since: event.at })
    }
  }
  return told
}
