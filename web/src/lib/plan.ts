// Who is told of a site's alarms: a plan as a person reads and changes it.
import type { PlanPage, Recipient, Route } from '../api/client'
import { span } from './words'

export const priorities = ['critical', 'high', 'medium', 'low'] as const
export type Priority = (typeof priorities)[number]

const minuteS = 60

/** The contact that a plan most likely means, of those that can be reached. */
export function likelyContact({ people, webhooks, hasMail }: PlanPage): Recipient {
  const [first] = people
  if ((!hasMail || !first) && webhooks[0] !== undefined) return { person: first?.name ?? '', channel: 'webhook', address: webhooks[0] }
  return { person: first?.name ?? '', channel: 'mail', address: first?.mail ?? '' }
}

/** The wait of one more rung: a quarter of an hour after the last. */
export function nextWaitS({ rungs }: Route): number {
  const last = rungs.at(-1)
  return last ? last.waitS + 15 * minuteS : 0
}

const by = ({ person, channel, address }: Recipient) => `${person} by ${channel === 'mail' ? 'mail' : address}`

/** "At once ada by mail; after 15 minutes bo by pager; begun 3 times, 1 hour apart." */
export function routeWords({ rungs, rounds = 1, repeatS = 0 }: Route): string {
  const steps = rungs.map(({ waitS, contacts }) => `${waitS === 0 ? 'at once' : `after ${span(waitS * 1000)}`} ${contacts.map(by).join(' and ')}`)
  if (rounds > 1) steps.push(`begun ${rounds} times, ${span(repeatS * 1000)} apart`)
  return steps.join('; ')
}
