// Times, harm and certainty as a person says them.
import type { Units } from './units'

const minuteMS = 60_000
const hourMS = 60 * minuteMS
const dayMS = 24 * hourMS

// Units go with a way of writing dates: 24 hours and day first, or not.
const locale = (units: Units) => (units === 'us' ? 'en-US' : 'en-GB')

const plural = (count: number, word: string) => `${count} ${word}${count === 1 ? '' : 's'}`

/** "40 minutes", "5 hours", "3 days", "7 weeks": one figure that can be acted on. */
export function span(ms: number): string {
  const size = Math.abs(ms)
  if (size < minuteMS) return 'less than a minute'
  if (size < 90 * minuteMS) return plural(Math.round(size / minuteMS), 'minute')
  if (size < 36 * hourMS) return plural(Math.round(size / hourMS), 'hour')
  if (size < 21 * dayMS) return plural(Math.round(size / dayMS), 'day')
  if (size < 120 * dayMS) return plural(Math.round(size / (7 * dayMS)), 'week')
  return plural(Math.round(size / (30.44 * dayMS)), 'month')
}

/** The same for a narrow column: "40 min", "5 h", "3 d". */
export function shortSpan(ms: number): string {
  const size = Math.abs(ms)
  if (size < 90 * minuteMS) return `${Math.max(1, Math.round(size / minuteMS))} min`
  if (size < 36 * hourMS) return `${Math.round(size / hourMS)} h`
  if (size < 100 * dayMS) return `${Math.round(size / dayMS)} d`
  return `${Math.round(size / (30.44 * dayMS))} mo`
}

/** "just now", "5 hours ago" */
export function ago(at: string, now: Date): string {
  const ms = now.getTime() - Date.parse(at)
  return ms < minuteMS ? 'just now' : `${span(ms)} ago`
}

export function timeOfDay(at: string, units: Units): string {
  return new Date(at).toLocaleTimeString(locale(units), { hour: '2-digit', minute: '2-digit' })
}

const sameDay = (a: Date, b: Date) => a.toDateString() === b.toDateString()

/** When something was: "06:40" today, "Tue 14:00" this week, "3 Nov" before. */
export function when(at: string, now: Date, units: Units): string {
  const then = new Date(at)
  const clock = timeOfDay(at, units)
  const apart = Math.abs(now.getTime() - then.getTime())
  if (sameDay(then, now)) return clock
  if (apart < 6 * dayMS) {
    return `${then.toLocaleDateString(locale(units), { weekday: 'short' })} ${clock}`
  }
  return then.toLocaleDateString(locale(units), {
    day: 'numeric',
    month: 'short',
    year: apart > 300 * dayMS ? 'numeric' : undefined,
  })
}

/** Day and time in full, for records. */
export function stamp(at: string, units: Units): string {
  return new Date(at).toLocaleString(locale(units), {
    day: 'numeric',
    month: 'short',
    year: 'numeric',
    hour: '2-digit',
    minute: '2-digit',
  })
}

export function today(now: Date, units: Units): string {
  return now.toLocaleDateString(locale(units), {
    weekday: 'long',
    day: 'numeric',
    month: 'long',
    year: 'numeric',
  })
}

// The harm classes, as the design check counts them.
const harms = [
  'no harm',
  'a nuisance',
  'animals stressed',
  'animals at risk or a wet floor',
  'loss of the tank or a flooded building',
]

export const harm = (harmClass: number): string => harms[harmClass] ?? `harm class ${harmClass}`

interface HarmAhead {
  class: number
  harmAt?: string
}

/** Harm in less than a minute is there: no clock is set better, and nobody acts in it. */
export const due = (ms: number) => ms < minuteMS

/** What comes if nobody acts, and when: "animals stressed", "… in about 5 hours". */
export function harmAhead(finding: HarmAhead, now: Date): string {
  const what = harm(finding.class)
  if (finding.harmAt === undefined) return what
  const ms = Date.parse(finding.harmAt) - now.getTime()
  return due(ms) ? `${what}, by now` : `${what} in about ${span(ms)}`
}

/** "94 % sure"; never quite certain, never quite without hope. */
export function sure(confidence: number): string {
  const percent = Math.min(99, Math.max(1, Math.round(confidence * 100)))
  return `${percent}\u00a0% sure`
}

// Codes are for machines; these are the names that people use.
const codeNames: Record<string, string> = {
  'tank-leak': 'tank water leaking',
  'fresh-leak': 'fresh water going astray',
  'evaporation-changed': 'evaporation changed',
  'pump-weak': 'pump weakening',
  'pump-seized': 'pump seized',
  'watch-fouled': 'watch sensor fouled',
  'watch-stuck': 'watch sensor stuck',
  'ceiling-wet': 'ceiling level wet',
  'top-off-overdue': 'top-off overdue',
  'endless-fill': 'fill without end',
  'restart-dip': 'filled into a restart dip',
  'salinity-creeping': 'salinity creeping',
  'reservoir-empty-by': 'reservoir running out',
  'device-silent': 'device silent',
  'instrument-off': 'instruments disagree',
}

export const codeName = (code: string): string => codeNames[code] ?? code.replaceAll('-', ' ')

/** Where a finding that goes on stands on its tank's page. */
export const findingId = (code: string): string => `finding-${code}`

/** A sentence begins with a capital, whoever wrote it; pH stays pH. */
export const capital = (text: string): string => (/^pH\b/.test(text) ? text : text.charAt(0).toUpperCase() + text.slice(1))
