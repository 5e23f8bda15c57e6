// The ranges of time that charts show, from an hour to two years.
export interface Range {
  name: string
  /** as a screen reader says it */
  spoken: string
  ms: number
}

const hourMS = 3_600_000
export const dayMS = 24 * hourMS

const range = (name: string, spoken: string, ms: number): Range => ({ name, spoken, ms })

export const twoWeeks = range('2 wk', 'two weeks', 14 * dayMS)

const twoYears = range('2 y', 'two years', 730 * dayMS)

export const ranges: Range[] = [
  range('1 h', 'one hour', hourMS),
  range('6 h', 'six hours', 6 * hourMS),
  range('1 d', 'one day', dayMS),
  range('1 wk', 'one week', 7 * dayMS),
  twoWeeks,
  range('1 mo', 'one month', 30 * dayMS),
  range('3 mo', 'three months', 91 * dayMS),
  range('1 y', 'one year', 365 * dayMS),
  twoYears,
]

// What was before a finding is half of what tells it.
const beforeShare = 1.5

/** The range that shows a finding with what was before it; two weeks without one. */
export function rangeSince(since: string | undefined, now: Date): Range {
  if (since === undefined) return twoWeeks
  const wantedMS = Math.max(dayMS, (now.getTime() - Date.parse(since)) * beforeShare)
  return ranges.find((r) => r.ms >= wantedMS) ?? twoYears
}

// The ledger counts whole days, so it never shows fewer than these.
const leastLedgerDays = 7

/**
 * The whole days that the books can speak of: those before anything was heard are
 * not days without water, and the one on which it was is only part of a day.
 * Unknown is undefined, and keeps all.
 */
export function sinceHeard<D extends { day: string }>(days: D[], firstHeardMS: number | undefined): D[] {
  if (firstHeardMS === undefined) return days
  return days.filter(({ day }) => Date.parse(`${day}T00:00:00Z`) >= firstHeardMS)
}

/**
 * The part of a range that the ledger shows: from the beginning of its first day
 * to the end of its last (UTC, as the server counts) or now, a week at least.
 */
export function ledgerSpan(from: Date, to: Date, now: Date): { from: Date; to: Date } {
  const dayOf = (ms: number) => Math.floor(ms / dayMS) * dayMS
  const lastDay = dayOf(to.getTime())
  const firstDay = Math.min(dayOf(from.getTime()), lastDay - (leastLedgerDays - 1) * dayMS)
  return { from: new Date(firstDay), to: new Date(Math.min(lastDay + dayMS, now.getTime())) }
}
