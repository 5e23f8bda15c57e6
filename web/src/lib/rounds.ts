// Rounds put together from the list and what has changed of it since.
import type { components } from '../api/schema'
import type { Rounds } from '../api/client'

/** The list after an event; the list as it was where the event is overtaken or changes a list that is not here. */
export function updated(rounds: Rounds | undefined, event: components['schemas']['RoundsEvent']): Rounds | undefined {
  if (rounds && Date.parse(event.at) < Date.parse(rounds.at)) return rounds
  if (!rounds && !event.whole) return undefined
  const before = event.whole || !rounds ? { needPerson: [], quiet: [] } : rounds
  const needs = new Map([...before.needPerson, ...event.needPerson].map((row) => [row.tank.id, row]))
  const moved = new Set([...event.gone, ...event.order, ...event.quiet.map((row) => row.tank.id)])
  const quiet = [...before.quiet.filter((row) => !moved.has(row.tank.id)), ...event.quiet]
  return {
    ...rounds,
    at: event.at,
    needPerson: event.order.flatMap((id) => needs.get(id) ?? []),
    quiet: quiet.sort((a, b) => (a.tank.name < b.tank.name ? -1 : a.tank.name > b.tank.name ? 1 : 0)),
  }
}
