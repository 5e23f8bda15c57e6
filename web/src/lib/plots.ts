// What charts look like: thin rules, water for what is expected, ink for what
// was, magenta for what a person should look at. Numbers come in display units.
import uPlot from 'uplot'
import { decimalsFor, digits, type Units } from './units'
import { stamp } from './words'

interface Inks {
  ink: string
  soft: string
  rule: string
  water: string
  shore: string
  person: string
  paper: string
}

// A custom property is text until something is painted with it.
export function inksOf(element: HTMLElement): Inks {
  const probe = document.createElement('span')
  element.append(probe)
  const colour = (name: string) => {
    probe.style.color = `var(--iso-${name})`
    return getComputedStyle(probe).color
  }
  const inks = {
    ink: colour('ink'),
    soft: colour('soft'),
    rule: colour('rule'),
    water: colour('water3'),
    shore: colour('shore'),
    person: colour('person'),
    paper: colour('paper'),
  }
  probe.remove()
  return inks
}

const figure = (value: number) => digits(value, decimalsFor(value))

const face = "13px 'Source Sans 3', sans-serif"
const axisWidthPX = 52

// Each row: least distance of marks in s, the mark, and what follows it when a
// new year, day or hour has begun (the columns are uPlot's).
const metricDates: uPlot.Axis.Values = [
  [365 * 86400, '{YYYY}', null, null, null, null, null, null, 1],
  [28 * 86400, '{MMM}', '\n{YYYY}', null, null, null, null, null, 1],
  [86400, '{D} {MMM}', '\n{YYYY}', null, null, null, null, null, 1],
  [60, '{HH}:{mm}', '\n{D} {MMM}', null, '\n{D} {MMM}', null, null, null, 1],
  [1, '{HH}:{mm}:{ss}', '\n{D} {MMM}', null, '\n{D} {MMM}', null, null, null, 1],
]

// So many that no two marks are rounded to unequal steps: 0.25 needs two.
const mostDecimals = 3
function decimalsOfSplit(step: number): number {
  for (let d = 0; d < mostDecimals; d++) {
    const scaled = step * 10 ** d
    if (Math.abs(scaled - Math.round(scaled)) < 1e-6) return d
  }
  return mostDecimals
}

function axes(inks: Inks, unit: string, units: Units): uPlot.Axis[] {
  const common = { stroke: inks.soft, font: face, ticks: { stroke: inks.rule, width: 1, size: 5 } }
  return [
    { ...common, grid: { show: false }, ...(units === 'metric' ? { values: metricDates } : {}), space: 70 },
    {
      ...common,
      size: axisWidthPX,
      grid: { stroke: inks.rule, width: 1, dash: [1, 3] },
      values: (_, splits, _axis, _space, step) => splits.map((v) => digits(v, decimalsOfSplit(step))),
      label: unit,
      labelFont: face,
      labelSize: unit ? 18 : 0,
      labelGap: 0,
    },
  ]
}

const common = (inks: Inks): Partial<uPlot.Options> => ({
  cursor: {
    y: false,
    drag: { x: false, y: false, setScale: false },
    points: { size: 7, fill: inks.shore, stroke: inks.paper, width: 1.5 },
  },
  legend: { show: false },
  padding: [12, 26, 0, 0],
})

/** What a chart is made of: options for a size, and its columns. */
export interface Drawn {
  data: uPlot.AlignedData
  options: (inks: Inks) => Omit<uPlot.Options, 'width' | 'height'>
  /** what stands at one point, in words */
  reads: (index: number) => string
}

export interface Line {
  unit: string
  t: number[]
  mean: (number | null)[]
  min: (number | null)[]
  max: (number | null)[]
  /** by hand: points that stand for themselves, on the same times or null */
  byHand?: (number | null)[]
  from: number
  to: number
  /** since when a finding goes on, to be marked */
  since?: number
}

// Where a finding begins: a dashed line from top to bottom, with its word.
function markSince(plot: uPlot, since: number | undefined, inks: Inks) {
  const { min, max } = plot.scales.x ?? {}
  if (since === undefined || min == null || max == null || since < min || since > max) return
  const { ctx, bbox } = plot
  const px = devicePixelRatio
  const x = Math.round(plot.valToPos(since, 'x', true))
  ctx.save()
  ctx.strokeStyle = ctx.fillStyle = inks.person
  ctx.lineWidth = 1.5 * px
  ctx.setLineDash([5 * px, 4 * px])
  ctx.beginPath()
  ctx.moveTo(x, bbox.top)
  ctx.lineTo(x, bbox.top + bbox.height)
  ctx.stroke()
  ctx.font = face.replace('13', `${13 * px}`)
  ctx.textBaseline = 'top'
  const room = bbox.left + bbox.width - x > 50 * px
  ctx.textAlign = room ? 'left' : 'right'
  ctx.fillText('since', x + (room ? 5 : -5) * px, bbox.top + 2 * px)
  ctx.restore()
}

/** One quantity against time, with the band between its least and greatest. */
export function line(l: Line, units: Units): Drawn {
  return {
    data: [l.t, l.max, l.min, l.mean, ...(l.byHand ? [l.byHand] : [])],
    reads: (i) => {
      const at = stamp(new Date((l.t[i] ?? 0) * 1000).toISOString(), units)
      const hand = l.byHand?.[i]
      const value = hand ?? l.mean[i]
      if (value == null) return at
      const [min, max] = [l.min[i] ?? value, l.max[i] ?? value]
      const band = max > min ? `, ${figure(min)} to ${figure(max)}` : ''
      return `${at}: ${figure(value)}\u00a0${l.unit}${hand == null ? band : ' by hand'}`
    },
    options: (inks) => ({
      ...common(inks),
      axes: axes(inks, l.unit, units),
      scales: { x: { range: [l.from, l.to] }, y: { range: (_, min, max) => padded(min, max) } },
      series: [
        {},
        { stroke: 'transparent', points: { show: false } },
        { stroke: 'transparent', points: { show: false } },
        { stroke: inks.shore, width: 1.6, spanGaps: true, points: { show: false } },
        ...(l.byHand
          ? [{ paths: () => null, points: { show: true, size: 9, fill: inks.paper, stroke: inks.ink, width: 2 } }]
          : []),
      ],
      bands: [{ series: [1, 2], fill: inks.water }],
      hooks: { draw: [(plot) => markSince(plot, l.since, inks)] },
    }),
  }
}

// Some air above and below, and never a flat line on the frame.
function padded(min: number | null, max: number | null): [number, number] {
  if (min == null || max == null) return [0, 1]
  const air = (max - min) * 0.12 || Math.max(Math.abs(max) * 0.02, 0.05)
  return [min - air, max + air]
}

/** One of several courses of a quantity, to be compared. */
export interface Course {
  name: string
  t: number[]
  value: number[]
  low?: number[]
  high?: number[]
}

/** How the courses of one chart are told apart, in this order: by ink and by dash. */
export const courseStyles = [
  { ink: 'shore', dash: [] },
  { ink: 'ink', dash: [7, 5] },
  { ink: 'soft', dash: [2, 4] },
] as const

/** Courses of one quantity in one chart, each with its band if it has one. */
export function courses(list: Course[], unit: string, units: Units): Drawn {
  const rows = list.flatMap((c, k) => c.t.map((t, i) => ({ t, k, value: c.value[i] ?? null, low: c.low?.[i] ?? null, high: c.high?.[i] ?? null }))).sort((a, b) => a.t - b.t)
  const columns = list.map((_, k) => (['high', 'low', 'value'] as const).map((part) => rows.map((row) => (row.k === k ? row[part] : null))))
  const edge = { stroke: 'transparent', points: { show: false }, spanGaps: true }
  return {
    data: [rows.map((row) => row.t), ...columns.flat()],
    reads: (i) => {
      const row = rows[i]
      return row?.value == null ? '' : `${stamp(new Date(row.t * 1000).toISOString(), units)}: ${figure(row.value)}\u00a0${unit}${list.length > 1 ? `, ${list[row.k]?.name}` : ''}`
    },
    options: (inks) => ({
      ...common(inks),
      axes: axes(inks, unit, units),
      scales: { x: { range: [rows[0]?.t ?? 0, rows.at(-1)?.t ?? 1] }, y: { range: (_, min, max) => padded(min, max) } },
      series: [
        {},
        ...list.flatMap((_, k) => {
          const { ink, dash } = courseStyles[k % courseStyles.length] ?? courseStyles[0]
          return [edge, edge, { stroke: inks[ink], dash: [...dash], width: 1.8, spanGaps: true, points: { show: false } }]
        }),
      ],
      bands: list.map((_, k) => ({ series: [3 * k + 1, 3 * k + 2] as [number, number], fill: inks.water })),
    }),
  }
}

export interface LedgerRow {
  /** noon of the day, in s */
  noon: number
  litres: number
  expected?: { value: number; low: number; high: number }
  /** the day is not over */
  unfinished?: boolean
}

/** 1 above its band, -1 below it at the day's end, 0 within it or without one. */
export function outside({ litres, expected, unfinished }: LedgerRow): -1 | 0 | 1 {
  if (!expected) return 0
  if (litres > expected.high) return 1
  return litres < expected.low && !unfinished ? -1 : 0
}

const halfDayS = 43_200

/**
 * The ledger: what went in, as a post per day, against the band that was
 * expected. A post outside its band is magenta and carries a flag, so that
 * colour is not the only thing that tells.
 */
export function ledger(rows: LedgerRow[], unit: string, since?: number): Drawn {
  const reads = (i: number) => {
    const row = rows[i]
    if (!row) return ''
    const day = new Date(row.noon * 1000).toISOString().slice(0, 10)
    const expected = row.expected ? `, expected ${figure(row.expected.low)} to ${figure(row.expected.high)}` : ''
    return `${day}: ${figure(row.litres)}\u00a0${unit}${row.unfinished ? ' so far' : ''}${expected}`
  }
  const top = Math.max(1e-9, ...rows.flatMap((row) => [row.litres, row.expected?.high ?? 0]))
  const first = rows[0]?.noon ?? 0
  const last = rows.at(-1)?.noon ?? 1
  return {
    reads,
    data: [
      rows.map((row) => row.noon),
      rows.map((row) => row.litres),
      rows.map((row) => row.expected?.low ?? null),
      rows.map((row) => row.expected?.high ?? null),
    ],
    options: (inks) => ({
      ...common(inks),
      // Days are the server's, and those are UTC.
      tzDate: (s) => uPlot.tzDate(new Date(s * 1000), 'Etc/UTC'),
      axes: axes(inks, unit, 'metric').map((axis, i) => (i === 0 ? { ...axis, incrs: [1, 2, 4, 7, 14, 28, 91, 182, 365].map((d) => d * 2 * halfDayS) } : axis)),
      scales: { x: { range: [first - halfDayS, last + halfDayS] }, y: { range: [0, top * 1.14] } },
      series: [
        {},
        ...Array.from({ length: 3 }, () => ({ paths: () => null, points: { show: false } })),
      ],
      hooks: { draw: [(plot) => drawLedger(plot, rows, inks), (plot) => markSince(plot, since, inks)] },
    }),
  }
}

function drawLedger(plot: uPlot, rows: LedgerRow[], inks: Inks) {
  const { ctx } = plot
  const px = devicePixelRatio
  const x = (s: number) => plot.valToPos(s, 'x', true)
  const y = (v: number) => plot.valToPos(v, 'y', true)
  const dayPX = x(2 * halfDayS) - x(0)
  const postPX = Math.max(px, Math.min(dayPX * 0.46, 22 * px))
  ctx.save()
  for (const row of rows) {
    const { expected } = row
    if (!expected) continue
    const left = x(row.noon - halfDayS)
    ctx.fillStyle = inks.water
    ctx.fillRect(left, y(expected.high), dayPX + 0.5, y(expected.low) - y(expected.high))
    ctx.fillStyle = inks.shore
    ctx.fillRect(left, y(expected.value) - px / 2, dayPX + 0.5, px)
  }
  for (const row of rows) {
    const out = outside(row)
    const middle = x(row.noon)
    ctx.fillStyle = out === 0 ? inks.ink : inks.person
    const post = [middle - postPX / 2, y(row.litres), postPX, y(0) - y(row.litres)] as const
    if (row.unfinished && out === 0) {
      ctx.strokeStyle = inks.ink // hollow: it still grows
      ctx.lineWidth = px
      ctx.strokeRect(...post)
    } else {
      ctx.fillRect(...post)
    }
    if (out !== 0) flag(ctx, middle, y(row.litres) - 5 * px, out, Math.min(5 * px, Math.max(3 * px, dayPX / 3)))
  }
  ctx.restore()
}

// A triangle over the post: up for too much, down for too little.
function flag(ctx: CanvasRenderingContext2D, x: number, y: number, way: 1 | -1, size: number) {
  const base = y - (way === 1 ? 0 : size * 1.5)
  ctx.beginPath()
  ctx.moveTo(x - size, base)
  ctx.lineTo(x + size, base)
  ctx.lineTo(x, base - way * size * 1.5)
  ctx.fill()
}
