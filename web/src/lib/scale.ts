// The bar above Rounds: time until harm, as the scale bar of a chart shows
// distance. Logarithmic, because the next hour matters as much as the next week.

const hourMS = 3_600_000
const dayMS = 24 * hourMS

/** What the bar reaches; sooner stands at its left end, later at its right. */
export const nearestMS = 0.5 * hourMS
export const farthestMS = 30 * dayMS

export const graduations = [
  { name: '1 h', ms: hourMS },
  { name: '3 h', ms: 3 * hourMS },
  { name: '12 h', ms: 12 * hourMS },
  { name: '1 day', ms: dayMS },
  { name: '3 days', ms: 3 * dayMS },
  { name: '1 week', ms: 7 * dayMS },
  { name: '2 weeks', ms: 14 * dayMS },
]

/** Place on the bar, from 0 to 1, of something that comes in so long. */
export function placeOnBar(ms: number): number {
  const bounded = Math.min(farthestMS, Math.max(nearestMS, ms))
  return Math.log(bounded / nearestMS) / Math.log(farthestMS / nearestMS)
}

/**
 * Lanes for marks so that none covers another: each takes the lowest lane where
 * its left neighbour is at least `apart` away.
 */
export function lanes(places: number[], apart: number): number[] {
  const lastInLane: number[] = []
  const lane = new Array<number>(places.length).fill(0)
  const order = places.map((_, i) => i).sort((a, b) => (places[a] ?? 0) - (places[b] ?? 0))
  for (const i of order) {
    const place = places[i] ?? 0
    let free = lastInLane.findIndex((last) => place - last >= apart)
    if (free < 0) free = lastInLane.length
    lastInLane[free] = place
    lane[i] = free
  }
  return lane
}
