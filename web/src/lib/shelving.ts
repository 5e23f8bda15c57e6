// How long an alarm may be put aside. It always ends by itself.
import { span } from './words'

const hourS = 3600
const offered = [
  { seconds: hourS / 4, name: '15 minutes' },
  { seconds: hourS, name: '1 hour' },
  { seconds: 4 * hourS, name: '4 hours' },
  { seconds: 8 * hourS, name: '8 hours' },
  { seconds: 24 * hourS, name: '1 day' },
  { seconds: 72 * hourS, name: '3 days' },
  { seconds: 168 * hourS, name: '1 week' },
]

/** The times on offer, up to the longest that the alarm allows. */
export function shelfTimes(longestS: number): { seconds: number; name: string }[] {
  const fitting = offered.filter(({ seconds }) => seconds <= longestS)
  if (fitting.length > 0 || longestS <= 0) return fitting
  return [{ seconds: longestS, name: span(longestS * 1000) }]
}
