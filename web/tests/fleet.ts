// An invented fleet, typed by the server's own document. It stands in for the
// server where a test needs an exact answer: a conflict, a refusal, a list that
// changes at a moment of the test's choosing.
import type {
  Alarm,
  Beliefs,
  Channel,
  Check,
  Device,
  Evidence,
  Finding,
  HandReading,
  LedgerDay,
  Measure,
  Odds,
  Quiet,
  RoundRow,
  Rounds,
  Series,
  Tank,
  TankEvent,
} from '../src/api/client'
import type { components } from '../src/api/schema'

type Schemas = components['schemas']

const minute = 60_000
const hour = 60 * minute
const day = 24 * hour

export const iso = (fromNowMS: number) => new Date(Date.now() + fromNowMS).toISOString()

const places = {
  'larkspur-harbour': 'Larkspur Harbour Hotel',
  'quill-street': 'Quill Street Library',
  'weir-lane': 'Weir Lane Museum',
  'linden-row': 'Linden Row Clinic',
  'hollow-oak': 'Hollow Oak School',
} as const

function ref(id: string, name: string, siteId: keyof typeof places) {
  return { id, name, siteId, siteName: places[siteId] }
}

export const tankRefs = {
  lobby: ref('lobby-reef', 'Lobby reef', 'larkspur-harbour'),
  breakfast: ref('breakfast-room', 'Breakfast Room reef', 'larkspur-harbour'),
  reading: ref('reading-room', 'Reading Room reef', 'quill-street'),
  pump: ref('pump-house', 'Pump House lagoon', 'weir-lane'),
  sill: ref('window-sill', 'Window sill', 'linden-row'),
  waiting: ref('waiting-room', 'Waiting Room reef', 'linden-row'),
  stairs: ref('stair-hall', 'Stair Hall reef', 'hollow-oak'),
  lab: ref('lab-bench', 'Lab Bench frags', 'hollow-oak'),
}

const evidence = (name: string, value: number, expected: number, sd: number, unit: string, at = -20 * minute): Evidence => ({
  name,
  value,
  expected,
  sd,
  unit,
  at: iso(at),
})

function finding(part: Partial<Finding> & Pick<Finding, 'code' | 'sentence'>): Finding {
  return {
    since: iso(-2 * day),
    found: iso(-1 * day),
    confidence: 0.9,
    class: 2,
    amount: 0,
    amountSD: 0,
    amountUnit: '',
    evidence: [],
    ruledOut: [],
    ...part,
  }
}

export const leak = () =>
  finding({
    code: 'tank-leak',
    sentence:
      'Lobby reef is drinking 2.1 ± 0.3 L a day more than the air explains, and salinity is falling: tank water is leaking away.',
    since: iso(-3.3 * day),
    confidence: 0.96,
    class: 3,
    harmAt: iso(4.2 * day),
    amount: 2.1,
    amountSD: 0.3,
    amountUnit: 'L/day',
    evidence: [
      evidence('top-off', 9.4, 7.3, 0.3, 'L/day'),
      evidence('salinity', 34.1, 35.0, 0.2, 'PSU', -5 * hour),
      evidence('salt lost', 74, 4, 11, 'g/day'),
    ],
    ruledOut: [
      { code: 'evaporation-changed', why: 'salinity would have stayed at 35 PSU, and it has fallen by 0.9 in three days' },
      { code: 'fresh-leak', why: 'fresh water that misses the sump leaves the salinity as it is' },
      { code: 'watch-fouled', why: 'the watch sensor still switches within 2 mm of the level gauge' },
    ],
  })

const ceiling = () =>
  finding({
    code: 'ceiling-wet',
    sentence: 'Water stands at the ceiling level of the Pump House lagoon, 41 mm above the watch level, while the top-off pump rests.',
    since: iso(-38 * minute),
    confidence: 0.98,
    class: 4,
    harmAt: iso(5 * hour),
    evidence: [evidence('level', 362, 321, 1.5, 'mm', -2 * minute), evidence('water in since the last fill', 6.1, 0, 0.4, 'L', -2 * minute)],
    ruledOut: [{ code: 'restart-dip', why: 'the return pump has run without a stop since yesterday' }],
  })

const dry = () =>
  finding({
    code: 'reservoir-empty-by',
    sentence: 'The reservoir of the Reading Room reef will be empty on Saturday, before the next visit.',
    since: iso(-6 * hour),
    confidence: 0.83,
    class: 3,
    harmAt: iso(3.6 * day),
    evidence: [evidence('reservoir', 7.8, 25, 1.1, 'L'), evidence('evaporation', 2.2, 2.1, 0.1, 'L/day')],
  })

const silent = () =>
  finding({
    code: 'device-silent',
    sentence: 'Nothing has been heard from the Waiting Room reef since last night; it used to report every minute.',
    since: iso(-11 * hour),
    confidence: 0.99,
    class: 1,
    evidence: [evidence('silence', 660, 1, 0, 'min')],
  })

const row = (tank: RoundRow['tank'], priority: RoundRow['priority'], f: Finding, rest: Partial<RoundRow> = {}): RoundRow => ({
  tank,
  priority,
  finding: f,
  others: [],
  lastHeard: iso(-40_000),
  ...rest,
})

export const ceilingRow = () => row(tankRefs.pump, 'critical', ceiling(), { alarmId: 'pump-house-ceiling-wet', alarmState: 'unacknowledged' })

const quiet = (tank: Quiet['tank'], litres: number, days: number | undefined, notes: string[] = []): Quiet => ({
  tank,
  litresPerDay: { value: litres, sd: litres * 0.04 },
  salinityPSU: { value: 35.1, sd: 0.15 },
  reservoirDays: days === undefined ? undefined : { value: days, low: days * 0.85, high: days * 1.2 },
  notes,
  lastHeard: iso(-25_000),
})

/** The morning list; with the ceiling trip of the Pump House on it, or before that. */
export function rounds(withCeiling: boolean): Rounds {
  const calm = [
    quiet(tankRefs.breakfast, 3.4, 12),
    quiet(tankRefs.lab, 1.12, 21),
    quiet(tankRefs.sill, 0.41, 6.5),
    quiet(tankRefs.stairs, 5.2, undefined, [
      'It evaporates 1.4 L a day more since Monday: a fan blows over it now. Nothing is leaking and the salinity stands.',
    ]),
  ]
  return {
    at: iso(0),
    needPerson: [
      ...(withCeiling ? [ceilingRow()] : []),
      row(tankRefs.reading, 'high', dry(), { alarmId: 'reading-room-reservoir', alarmState: 'acknowledged' }),
      row(tankRefs.lobby, 'high', leak(), {
        alarmId: 'lobby-reef-leak',
        alarmState: 'unacknowledged',
        others: [
          finding({
            code: 'pump-weak',
            sentence: 'The top-off pump gives 0.61 L/min, a third less than when it was fitted.',
            since: iso(-16 * day),
            confidence: 0.88,
            class: 1,
          }),
        ],
      }),
      row(tankRefs.waiting, 'medium', silent(), { lastHeard: iso(-11 * hour) }),
    ],
    quiet: withCeiling ? calm : [...calm.slice(0, 2), quiet(tankRefs.pump, 11.8, 9), ...calm.slice(2)],
  }
}

/** The list as the live updates begin with it. */
export function wholeRounds(withCeiling: boolean): Schemas['RoundsEvent'] {
  const list = rounds(withCeiling)
  return { ...list, whole: true, gone: [], order: list.needPerson.map((row) => row.tank.id) }
}

export function tank(id: string): Tank | undefined {
  const tankRef = Object.values(tankRefs).find((t) => t.id === id)
  if (!tankRef) return undefined
  const leaking = id === tankRefs.lobby.id
  const contact = (on: boolean, at = -50_000) => ({ on, at: iso(at) })
  return {
    ...tankRef,
    place: `${tankRef.siteName}, ground floor`,
    systemLitres: 1460,
    targetPSU: 35,
    targetTempC: 25,
    hasSump: true,
    bounded: true,
    live: {
      levelMM: { value: 327.4, at: iso(-20_000) },
      tempC: { value: 25.3, at: iso(-20_000) },
      watch: contact(true),
      ceiling: contact(false),
      floor: contact(false),
      returnPump: contact(true),
      topOffPump: contact(false),
    },
    account: {
      at: iso(-minute),
      evaporationLitresDay: { value: 7.3, sd: 0.3 },
      leakLitresDay: leaking ? { value: 2.1, sd: 0.3 } : { value: 0.02, sd: 0.05 },
      salinityPSU: { value: leaking ? 34.1 : 35.1, sd: 0.2 },
      pumpLitresMin: { value: 0.61, sd: 0.02 },
      expectedLitresDay: { value: 7.3, low: 6.4, high: 8.3 },
      reservoirLitres: 58,
      reservoirDays: { value: 6.2, low: 5.4, high: 7.3 },
    },
    findings: leaking ? [leak(), ...(rounds(false).needPerson[1]?.others ?? [])] : [],
    lastHeard: iso(-20_000),
  }
}

// A cheap wobble that is the same on every run.
const wobble = (i: number) => Math.sin(i * 12.9898) * 0.6 + Math.sin(i * 4.1414) * 0.4

export function ledger(from: Date, to: Date): LedgerDay[] {
  const days: LedgerDay[] = []
  for (let at = Math.floor(from.getTime() / day) * day; at <= to.getTime(); at += day) {
    const ageDays = (Date.now() - at) / day
    const expected = 7.2 + 0.7 * Math.sin(at / day / 5)
    const leaking = ageDays < 4 ? 2.1 : 0
    days.push({
      day: new Date(at).toISOString().slice(0, 10),
      litres: Math.max(0, expected + leaking + 0.35 * wobble(at / day)),
      fills: 11,
      expected: { value: expected, low: expected - 0.8, high: expected + 0.8 },
    })
  }
  return days
}

export const channels = (): Channel[] =>
  [
    ['level', 'm'],
    ['salinity', 'PSU'],
    ['temperature', '°C'],
    ['pump-ran', 's'],
    ['watch', ''],
  ].map(([id = '', unit = '']) => ({ id, unit, contact: unit === '', last: iso(-20_000) }))

export function series(channel: string, from: Date, to: Date, points: number): Series {
  const stepS = Math.max(60, Math.round((to.getTime() - from.getTime()) / 1000 / Math.min(points, 400)))
  const first = Math.max(from.getTime(), Date.now() - 90 * day) / 1000
  const shape: Record<string, { title: string; unit: string; screen?: Series['screen']; mean: (t: number) => number; spread: number }> = {
    level: { title: 'Level above the datum', unit: 'm', screen: { unit: 'mm', perUnit: 1000 }, mean: (t) => 0.327 + 0.003 * wobble(t / stepS), spread: 0.002 },
    salinity: { title: 'Salinity', unit: 'PSU', mean: (t) => 35 - Math.max(0, t - (Date.now() - 4 * day) / 1000) * 2.6e-6, spread: 0.2 },
    temperature: { title: 'Water temperature', unit: '°C', mean: (t) => 25.2 + 0.4 * Math.sin((t / 86_400) * 2 * Math.PI), spread: 0.1 },
    'pump-ran': { title: 'Length of fills', unit: 's', mean: (t) => 42 + 4 * wobble(t / stepS), spread: 0 },
  }
  const { title, unit, screen, mean, spread } = shape[channel] ?? { title: channel, unit: '', mean: () => 1, spread: 0 }
  const out: Series = { channel, title, unit, screen: screen ?? { unit, perUnit: 1 }, stepS, t: [], mean: [], min: [], max: [] }
  for (let t = first; t < to.getTime() / 1000; t += stepS) {
    out.t.push(Math.round(t))
    out.mean.push(mean(t))
    out.min.push(mean(t) - spread)
    out.max.push(mean(t) + spread)
  }
  return out
}

/** The salinity grows doubtful between measurements, three days apart. */
export function beliefs(from: Date, to: Date): Beliefs {
  const out: Beliefs = { stepS: 3600, t: [], salinityPSU: [], salinitySD: [], pumpLitresMin: [], pumpSD: [], expectedLitresDay: [], expectedLitresDayLow: [], expectedLitresDayHigh: [], reservoirDays: [], reservoirDaysLow: [], reservoirDaysHigh: [] }
  const stepMS = Math.max(hour, Math.ceil((to.getTime() - from.getTime()) / 400 / hour) * hour)
  for (let at = Math.max(from.getTime(), Date.now() - 90 * day); at <= to.getTime(); at += stepMS) {
    const age = Date.now() - at
    const expected = 7.2 + 0.7 * Math.sin(at / day / 5)
    out.t.push(at / 1000)
    out.salinityPSU.push(35 - Math.max(0, 4 * day - age) * (0.9 / (4 * day)))
    out.salinitySD.push(0.12 + 0.05 * ((30 * day - (age % (30 * day))) % (3 * day)) / day)
    out.pumpLitresMin.push(0.92 - Math.max(0, 16 * day - age) * (0.31 / (16 * day)))
    out.pumpSD.push(0.02)
    out.expectedLitresDay.push(expected)
    out.expectedLitresDayLow.push(expected - 0.8)
    out.expectedLitresDayHigh.push(expected + 0.8)
    const left = age > 10 * day ? null : 6.2 + (age % (5 * day)) / day
    out.reservoirDays.push(left)
    out.reservoirDaysLow.push(left && left * 0.85)
    out.reservoirDaysHigh.push(left && left * 1.2)
  }
  return out
}

export const events = (): TankEvent[] => [
  { at: iso(-12 * minute), kind: 'fill', words: 'the top-off pump ran for 42 s' },
  { at: iso(-65 * minute), kind: 'fill', words: 'the top-off pump ran for 44 s' },
  { at: iso(-5 * hour), kind: 'hand', words: 'salinity 34.1 PSU by refractometer', by: 'ada' },
  { at: iso(-1.2 * day), kind: 'contact', words: 'the return pump stopped for 9 min' },
]

export const measures = (): Measure[] => [
  { kind: 'salinity', title: 'Salinity', units: ['PSU', 'SG', 'mS/cm'], instruments: ['refractometer', 'conductivity meter', 'hydrometer', 'other'] },
  { kind: 'temperature', title: 'Water temperature', units: ['°C', '°F'], instruments: ['thermometer', 'other'] },
  { kind: 'alkalinity', title: 'Alkalinity', units: ['dKH', 'meq/L'], instruments: ['titration', 'colorimeter', 'other'] },
]

export const handReadings = (): HandReading[] => [
  { at: iso(-5 * hour), kind: 'salinity', title: 'Salinity', value: 34.1, unit: 'PSU', instrument: 'refractometer', by: 'ada' },
  { at: iso(-3 * day), kind: 'salinity', title: 'Salinity', value: 34.8, unit: 'PSU', instrument: 'refractometer', by: 'ada' },
  { at: iso(-3 * day), kind: 'alkalinity', title: 'Alkalinity', value: 7.8, unit: 'dKH', instrument: 'titration', by: 'ada' },
]

export const alarms = (): Alarm[] => [
  {
    id: 'pump-house-ceiling-wet',
    code: 'ceiling-wet',
    title: 'Ceiling level wet',
    siteId: 'weir-lane',
    siteName: places['weir-lane'],
    tankId: 'pump-house',
    sentence: ceiling().sentence,
    caution: 'Water may stand near sockets. Do not touch anything that is plugged in before the supply is off.',
    state: 'unacknowledged',
    priority: 'critical',
    class: 4,
    harmAt: iso(5 * hour),
    called: iso(-38 * minute),
    longestShelfS: 3600,
  },
  {
    id: 'lobby-reef-leak',
    code: 'tank-leak',
    title: 'Tank water leaking',
    siteId: 'larkspur-harbour',
    siteName: places['larkspur-harbour'],
    tankId: 'lobby-reef',
    sentence: leak().sentence,
    state: 'acknowledged',
    ackedBy: 'ada',
    priority: 'high',
    class: 3,
    harmAt: iso(4.2 * day),
    called: iso(-1 * day),
    longestShelfS: 86_400,
    told: { sent: 1, pending: 0, failed: 1 },
  },
  {
    id: 'lobby-reef-overfill',
    code: 'endless-fill',
    title: 'Fill without end',
    siteId: 'larkspur-harbour',
    siteName: places['larkspur-harbour'],
    tankId: 'breakfast-room',
    sentence: 'A fill of the Breakfast Room reef ran to its time limit at 03:12.',
    state: 'latched acknowledged',
    ackedBy: 'ada',
    priority: 'high',
    class: 3,
    called: iso(-7 * hour),
    longestShelfS: 86_400,
  },
  {
    id: 'linden-row-silent',
    code: 'device-silent',
    title: 'Site silent',
    siteId: 'linden-row',
    siteName: places['linden-row'],
    sentence: 'Nothing has been heard from Linden Row Clinic since last night.',
    state: 'shelved',
    shelvedBy: 'ada',
    shelvedUntil: iso(3 * hour),
    priority: 'medium',
    class: 1,
    called: iso(-11 * hour),
    longestShelfS: 604_800,
  },
  {
    id: 'waiting-room-overdue',
    code: 'top-off-overdue',
    title: 'Top-off overdue',
    siteId: 'linden-row',
    siteName: places['linden-row'],
    tankId: 'waiting-room',
    sentence: 'The Waiting Room reef has had no top-off for 14 hours.',
    state: 'suppressed by design',
    cause: 'linden-row-silent',
    priority: 'low',
    class: 2,
    longestShelfS: 604_800,
  },
]

export const devices = (): Device[] => [
  {
    id: 'lobby-head',
    name: 'Level head under the lobby',
    tankId: 'lobby-reef',
    siteId: 'larkspur-harbour',
    created: iso(-90 * day),
    firstHeard: iso(-89 * day),
    lastHeard: iso(-20_000),
    edge: false,
    records: false,
    refusals: [],
  },
  {
    id: 'lobby-reef-records',
    name: 'Imported records',
    tankId: 'lobby-reef',
    siteId: 'larkspur-harbour',
    created: iso(-60 * day),
    firstHeard: iso(-400 * day),
    lastHeard: iso(-90 * day),
    edge: false,
    records: true,
    refusals: [],
  },
  {
    id: 'sill-stick',
    name: 'Temperature stick',
    tankId: 'window-sill',
    siteId: 'linden-row',
    created: iso(-20 * day),
    firstHeard: iso(-20 * day),
    lastHeard: iso(-3 * hour),
    edge: false,
    records: false,
    refusals: [
      {
        at: iso(-2 * hour),
        topic: 'linden-row/sill-stick/temperature',
        reason: 'out-of-range',
        words: 'temperature: 181 °C is above 50 °C; send degrees Celsius',
        count: 14,
      },
    ],
  },
]

export const check: Check = {
  accepted: false,
  because: 'One single fault leads to animals at risk or a wet floor before anybody comes.',
  failing: 1,
  faults: [
    {
      id: 'drain-blocked',
      sentence: 'The drain of the display clogs: the return pump lifts the chamber into the display and the top-off follows.',
      class: 3,
      unattended: 4,
      stoppedBy: 'the run limit',
      season: 'summer',
    },
    { id: 'watch-stuck-dry', sentence: 'The watch sensor sticks dry.', class: 1, unattended: 1, stoppedBy: 'the ceiling sensor', season: 'summer' },
    { id: 'relay-welded', sentence: 'The relay of the top-off pump welds shut.', class: 1, unattended: 2, stoppedBy: 'the reservoir is empty', season: 'heating season' },
  ],
  changes: [
    {
      words: 'Fill the reservoir to 310 mm instead of 370 mm.',
      buys: ['the drain may clog: nothing reaches the floor'],
    },
    { words: 'Test the ceiling sensor every 30 days instead of every 90.', buys: ['a third of the risk of an overfill'] },
  ],
  settings: [
    { name: 'run limit', value: '95 s', given: false, reason: 'twice the longest fill of the driest season' },
    { name: 'least pause', value: '20 min', given: true, reason: 'the file sets it' },
  ],
  problems: [],
  marginLitres: 11.4,
  drainDownLitres: 31.2,
  dumpSafeLitres: 22.5,
  tankYears: 312,
}

/** How likely it is, without its drawing. */
export const odds: Odds = {
  lead: [
    'These are estimates from generic failure rates and from judgement, to compare designs and habits. They are no certificate and no promise.',
    'The published rates come from clean industry and know nothing of salt creep, snails or slime: for those parts they are lower bounds.',
  ],
  safe: 'Inherently safe against overfilling: the whole reservoir, 26 L, may run into the tank at once without serious harm (it may take 31 L). No sensor, relay or test is needed for that.',
  inherentlySafe: true,
  harms: [
    { name: 'A wet floor', expected: 'once in 100 years', band: '36 to 590 years', ways: '11 combinations of faults', perYear: 0.0096, lowPerYear: 0.0017, highPerYear: 0.028 },
    { name: 'Animals at risk or a wet floor', expected: 'once in 59 years', band: '28 to 210 years', ways: '25 combinations of faults', perYear: 0.017, lowPerYear: 0.0047, highPerYear: 0.036 },
    { name: 'Loss of the tank or a flooded building', expected: 'not found possible', band: '', ways: 'no combination that was tried leads there', perYear: 0, lowPerYear: 0, highPerYear: 0 },
  ],
  dominating: [
    {
      share: '30 %',
      harm: 'The alarm reaches nobody, and the display\'s drain clogs until it passes 60 % of the return flow: salinity climbs to 36.6 PSU; the visit after 4 days finds it.',
      why: 'The alarm reaches nobody, unseen, 3.4 % of the time, until a proof test finds it; the display\'s drain clogs, once in 5.0 years.',
    },
    { share: '13 %', harm: 'The tube slips out and lies on the floor: 2 L on the floor (tube).', why: 'The tube slips out and lies on the floor, once in 23 years.' },
  ],
  testing:
    'Tested every 45 days. Once in 93 years is what no testing can take away. The knee is near 55 days: testing more often than that buys less than half, and less and less. One skipped test makes serious harm 1.6 times as likely until the next: it costs as much as 17 ordinary days.',
  intervalDays: 45,
  kneeDays: 55,
  floorPerYear: 0.0108,
  skipFactor: 1.6,
  curve: [
    { days: 7, perYear: 0.0123, lowPerYear: 0.0034, highPerYear: 0.0263 },
    { days: 365, perYear: 0.0605, lowPerYear: 0.0134, highPerYear: 0.126 },
  ],
  drawingWide: '',
  drawingNarrow: '',
  notes: ['Mains power near water, flooded floors and animals\' lives: local codes and a licensed electrician or plumber decide, not these figures.'],
}
