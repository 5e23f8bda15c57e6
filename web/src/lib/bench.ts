// The questions of the water bench, as a person fills them in. Their ranges are
// the server's: a test holds them to its document.
import type { BenchAnswer } from '../api/client'
import { server } from '../api/client'
import type { components } from '../api/schema'
import { convert, type Units } from './units'

type Schemas = components['schemas']

export type QuestionId = 'shock' | 'hand' | 'change' | 'correct' | 'salt' | 'convert' | 'agree' | 'use' | 'lime' | 'fluid' | 'source'

/** What a question is about, in the server's units. */
export type Body = { [key: string]: Value }
type Value = undefined | string | number | boolean | Body | Body[]

export interface Entry {
  /** where it stands in the body: water.tempC */
  path: string
  label: string
  /** as the server spells it; empty for a pure number */
  unit?: string
  step?: number
  min?: number
  max?: number
  choices?: [value: string, name: string][]
  /** it may be left out; a stepper begins from here */
  from?: number
  note?: string
  /** only shown for these values of another entry */
  when?: [path: string, ...values: string[]]
}

export interface Question {
  id: QuestionId
  /** completes the heading that it stands under */
  name: string
  /** the schema of its body */
  schema: keyof Schemas
  entries: Entry[]
  /** what else it depends on, folded away */
  more: Entry[]
  start: Body
}

const bucket = { volumeL: 100, tempC: 25, salinityPSU: 35, alkalinityDKH: 8 }

const volume = (path: string): Entry => ({ path, label: 'Water in it', unit: 'L', step: 10, min: 0.1, max: 1_000_000 })
const temperature = (path: string): Entry => ({ path, label: 'Temperature', unit: '°C', step: 0.5, min: 10, max: 35 })
const water: Entry[] = [
  volume('water.volumeL'),
  temperature('water.tempC'),
  { path: 'water.salinityPSU', label: 'Salinity', unit: 'PSU', step: 0.1, min: 20, max: 40 },
  { path: 'water.alkalinityDKH', label: 'Alkalinity', unit: 'dKH', step: 0.1, min: 0.5, max: 25 },
]
const waterMore: Entry[] = [
  { path: 'water.pH', label: 'pH', step: 0.05, min: 7, max: 9.5, from: 8.1, note: 'Left out: in balance with the room.' },
  { path: 'water.calciumMgL', label: 'Calcium', unit: 'mg/L', step: 5, min: 50, max: 1500, from: 420, note: 'Left out: as in the sea.' },
  { path: 'water.magnesiumMgL', label: 'Magnesium', unit: 'mg/L', step: 10, min: 100, max: 5000, from: 1300, note: 'Left out: as in the sea.' },
  { path: 'water.roomCO2PPM', label: 'Carbon dioxide in the room', unit: 'ppm', step: 50, min: 300, max: 10_000, from: 700, note: 'Left out: 700 ppm.' },
  { path: 'water.airPressureHPa', label: 'Pressure of the air there', unit: 'hPa', step: 5, min: 500, max: 1100, from: 1013, note: 'Left out: sea level, 1013 hPa.' },
]
const evaporation: Entry = { path: 'evaporationLitresDay', label: 'Evaporates', unit: 'L/day', step: 0.5, max: 100_000, min: 0, from: 4 }
const use: Entry = { path: 'useAlkalinityDKHDay', label: 'Uses up of alkalinity', unit: 'dKH/day', step: 0.1, min: 0, max: 10, from: 0.5 }
const useCalcium: Entry = { path: 'useCalciumMgLDay', label: 'Uses up of calcium', unit: 'mg/L/day', step: 1, min: 0, max: 100, from: 4 }

const instruments: [string, string][] = [
  ['refractometer', 'refractometer for seawater, PSU'],
  ['brine-refractometer', 'refractometer for table salt, g/kg'],
  ['conductivity-meter', 'conductivity meter, PSU'],
  ['conductivity-at-25', 'conductivity at 25 °C, mS/cm'],
  ['conductivity', 'conductivity as it is, mS/cm'],
  ['hydrometer', 'hydrometer, specific gravity'],
  ['refractive-index', 'refractive index'],
  ['density', 'density, kg/m³'],
]

/** What an instrument shows of seawater, to begin with, and the step of its scale. */
const scales: Record<string, [value: number, step: number]> = {
  refractometer: [35, 0.5],
  'brine-refractometer': [36, 0.5],
  'conductivity-meter': [35, 0.1],
  'conductivity-at-25': [53, 0.1],
  conductivity: [53, 0.1],
  hydrometer: [1.0264, 0.0005],
  'refractive-index': [1.3394, 0.0001],
  density: [1023.3, 0.1],
}

export const scaleOf = (instrument: unknown): [value: number, step: number] => scales[String(instrument)] ?? [35, 0.1]

/** The entries of one reading, its fields standing under a path that ends in a point. */
export const reading = (at: string, instrument: unknown): Entry[] => [
  { path: `${at}instrument`, label: 'Instrument', choices: instruments },
  { path: `${at}value`, label: 'It shows', step: scaleOf(instrument)[1], min: 0, max: 1200 },
  { path: `${at}tempC`, label: 'Temperature of the water', unit: '°C', step: 0.5, min: 0, max: 40 },
  { path: `${at}sampleC`, label: 'First temperature on the glass', unit: '°C', step: 1, min: 0, max: 40, from: 25, note: 'Left out: 25 °C.', when: [`${at}instrument`, 'hydrometer'] },
  { path: `${at}waterC`, label: 'Second temperature on the glass', unit: '°C', step: 1, min: 0, max: 40, from: 25, note: 'Left out: 25 °C.', when: [`${at}instrument`, 'hydrometer'] },
]

const logged: [value: string, name: string][] = [
  ['alkalinity', 'alkalinity read'],
  ['calcium', 'calcium read'],
  ['magnesium', 'magnesium read'],
  ['water-change', 'water changed'],
  ['sodium-bicarbonate', 'sodium bicarbonate given'],
  ['sodium-carbonate', 'sodium carbonate given'],
  ['calcium-chloride-dihydrate', 'calcium chloride dihydrate given'],
  ['calcium-chloride-anhydrous', 'calcium chloride anhydrous given'],
  ['magnesium-chloride-hexahydrate', 'magnesium chloride hexahydrate given'],
  ['magnesium-sulfate-heptahydrate', 'magnesium sulfate heptahydrate given'],
]

/** What is read: its unit, and a value to begin with. */
const read: Record<string, [unit: string, usual: number]> = { alkalinity: ['dKH', 8], calcium: ['mg/L', 420], magnesium: ['mg/L', 1300] }

/** An amount of what is logged, to begin with: a reading, litres, or grams of a salt. */
export const usualAmount = (what: unknown): number => read[String(what)]?.[1] ?? 10

/** The entries of one line of a log, its fields standing under a path that ends in a point. */
export function logLine(at: string, what: unknown): Entry[] {
  const reading = read[String(what)]
  const changed: Entry['when'] = [`${at}what`, 'water-change']
  const unit = reading?.[0] ?? (what === 'water-change' ? 'L' : 'g')
  return [
    { path: `${at}what`, label: 'What', choices: logged },
    { path: `${at}amount`, label: reading ? 'Read' : 'Amount', unit, step: 0.1, min: 0, max: 100_000 },
    { path: `${at}sd`, label: 'Error', unit, step: 0.1, min: 0, max: 1000, from: 0.2, when: [`${at}what`, ...Object.keys(read)] },
    { path: `${at}alkalinityDKH`, label: 'New water', unit: 'dKH', step: 0.1, min: 0, max: 25, from: 8, when: changed },
    { path: `${at}calciumMgL`, label: 'Its calcium', unit: 'mg/L', step: 1, min: 0, max: 1500, from: 420, when: changed },
    { path: `${at}magnesiumMgL`, label: 'Its magnesium', unit: 'mg/L', step: 1, min: 0, max: 5000, from: 1300, when: changed },
  ]
}

export const newLine = (at: Date, what = 'alkalinity', amount = usualAmount(what)): Body => ({ at: at.toISOString(), what, amount })

const twoDigits = (n: number) => String(n).padStart(2, '0')

/** The day of a moment as it is here, as a date field writes it. */
export function dayOf(moment: string): string {
  const at = new Date(moment)
  return `${at.getFullYear()}-${twoDigits(at.getMonth() + 1)}-${twoDigits(at.getDate())}`
}

/** The same time of another day; undefined while the day is not whole. */
export function onDay(moment: string, day: string): string | undefined {
  const [year = NaN, month = NaN, date = NaN] = day.split('-').map(Number)
  const at = new Date(moment)
  at.setFullYear(year, month - 1, date)
  return Number.isNaN(at.getTime()) ? undefined : at.toISOString()
}

const daysAgo = (days: number) => new Date(Date.now() - days * 86_400_000)

export const newReading = (instrument = 'refractometer', tempC = 25): Body => ({ instrument, value: scaleOf(instrument)[0], tempC })

export const groups: { name: string; questions: Question[] }[] = [
  {
    name: 'What if I add…',
    questions: [
      {
        id: 'shock',
        name: 'fresh water at once',
        schema: 'TopOffShock',
        entries: [{ path: 'topOffL', label: 'Fresh water', unit: 'L', step: 1, min: 0.001, max: 100_000 }, ...water],
        more: [
          { path: 'minutes', label: 'Given over', unit: 'min', step: 10, min: 0, max: 100_000, from: 0, note: 'Left out: at once.' },
          { path: 'freshTempC', label: 'Its temperature', unit: '°C', step: 0.5, min: 2, max: 40, from: 20, note: 'Left out: that of the tank.' },
          evaporation,
          use,
          ...waterMore,
        ],
        start: { water: bucket, topOffL: 5 },
      },
      {
        id: 'hand',
        name: 'fresh water by hand, for a month',
        schema: 'HandTopOff',
        entries: [{ path: 'everyDays', label: 'Time between two top-offs', unit: 'days', step: 1, min: 0.25, max: 29, note: 'Set beside the same month by the controller, both on the twin that checks the design.' }],
        more: [],
        start: { everyDays: 3 },
      },
      {
        id: 'change',
        name: 'new salt water, again and again',
        schema: 'WaterChanges',
        entries: [
          { path: 'eachL', label: 'Exchanged each time', unit: 'L', step: 1, min: 0.01, max: 1_000_000 },
          { path: 'times', label: 'Times', step: 1, min: 1, max: 1000 },
          { path: 'everyDays', label: 'Days between', unit: 'days', step: 1, min: 0.01, max: 365 },
          { path: 'ionMgL', label: 'Of what is to go', unit: 'mg/L', step: 1, min: 0, max: 10_000, from: 10 },
          ...water,
        ],
        more: [
          { path: 'newTempC', label: 'New water: temperature', unit: '°C', step: 0.5, min: 5, max: 40, from: 25, note: 'Left out: that of the tank.' },
          { path: 'newSalinityPSU', label: 'New water: salinity', unit: 'PSU', step: 0.1, min: 20, max: 45, from: 35, note: 'Left out: that of the tank.' },
          { path: 'newAlkalinityDKH', label: 'New water: alkalinity', unit: 'dKH', step: 0.1, min: 0.5, max: 25, from: 8, note: 'Left out: that of the tank.' },
          { path: 'ion', label: 'What is to go', choices: [['nitrate', 'nitrate'], ['phosphate', 'phosphate'], ['other', 'something else']] },
          { path: 'ionNewMgL', label: 'New water: of what is to go', unit: 'mg/L', step: 1, min: 0, max: 10_000, from: 0 },
          { path: 'ionMgLDay', label: 'The tank makes of it', unit: 'mg/L/day', step: 0.1, min: 0, max: 1000, from: 0.5 },
          ...waterMore,
        ],
        start: { water: bucket, eachL: 10, times: 4, everyDays: 7, ion: 'nitrate', ionMgL: 20 },
      },
    ],
  },
  {
    name: 'How do I get to…',
    questions: [
      {
        id: 'correct',
        name: 'another alkalinity, calcium or magnesium',
        schema: 'Correction',
        entries: [
          { path: 'targetAlkalinityDKH', label: 'Alkalinity wanted', unit: 'dKH', step: 0.1, min: 4, max: 15, from: 8.5, note: 'Left out: as it is.' },
          { path: 'targetCalciumMgL', label: 'Calcium wanted', unit: 'mg/L', step: 5, min: 300, max: 600, from: 430, note: 'Left out: as it is.' },
          { path: 'targetMagnesiumMgL', label: 'Magnesium wanted', unit: 'mg/L', step: 10, min: 900, max: 1800, from: 1350, note: 'Left out: as it is.' },
          ...water,
          ...waterMore.slice(1, 3),
        ],
        more: [
          { path: 'alkalinityFrom', label: 'Alkalinity from', choices: [['sodium-bicarbonate', 'sodium bicarbonate'], ['sodium-carbonate', 'sodium carbonate']] },
          { path: 'calciumFrom', label: 'Calcium from', choices: [['calcium-chloride-dihydrate', 'calcium chloride dihydrate'], ['calcium-chloride-anhydrous', 'calcium chloride anhydrous']] },
          { path: 'magnesiumFrom', label: 'Magnesium from', choices: [['magnesium-chloride-hexahydrate', 'magnesium chloride hexahydrate'], ['magnesium-sulfate-heptahydrate', 'magnesium sulfate heptahydrate']] },
          use,
          useCalcium,
          { path: 'useMagnesiumMgLDay', label: 'Uses up of magnesium', unit: 'mg/L/day', step: 1, min: 0, max: 100, from: 1 },
          { path: 'rateAlkalinityDKHDay', label: 'Alkalinity at most', unit: 'dKH/day', step: 0.1, min: 0.05, max: 3, from: 1, note: 'Left out: 1 dKH a day.' },
          { path: 'rateCalciumMgLDay', label: 'Calcium at most', unit: 'mg/L/day', step: 5, min: 1, max: 100, from: 20, note: 'Left out: 20 mg/L a day.' },
          { path: 'rateMagnesiumMgLDay', label: 'Magnesium at most', unit: 'mg/L/day', step: 10, min: 5, max: 300, from: 100, note: 'Left out: 100 mg/L a day.' },
          ...[waterMore[0], waterMore[3]].filter((entry) => entry !== undefined),
        ],
        start: { water: bucket, targetAlkalinityDKH: 8.5, alkalinityFrom: 'sodium-bicarbonate', calciumFrom: 'calcium-chloride-dihydrate', magnesiumFrom: 'magnesium-chloride-hexahydrate' },
      },
      {
        id: 'salt',
        name: 'another salinity',
        schema: 'SalinityMove',
        entries: [
          { path: 'targetPSU', label: 'Salinity wanted', unit: 'PSU', step: 0.1, min: 1, max: 45 },
          { path: 'salinityPSU', label: 'Salinity now', unit: 'PSU', step: 0.1, min: 1, max: 45 },
          volume('volumeL'),
          temperature('tempC'),
          { path: 'way', label: 'Way', choices: [['exchange', 'take water out, give other water back'], ['top-off', 'top off with salt water']] },
          { path: 'supplyPSU', label: 'Salinity of what goes in', unit: 'PSU', step: 1, min: 0, max: 100, from: 40, note: 'Left out: fresh to go down, 35 to top off with.' },
          { ...evaporation, when: ['way', 'top-off'] },
        ],
        more: [
          { path: 'ratePSUDay', label: 'At most a day', unit: 'PSU', step: 0.1, min: 0.05, max: 5, from: 1, note: 'Left out: 1 PSU.' },
        ],
        start: { volumeL: 100, tempC: 25, salinityPSU: 33, targetPSU: 35, supplyPSU: 40, way: 'exchange', evaporationLitresDay: 1 },
      },
    ],
  },
  {
    name: 'What is the worth of…',
    questions: [
      { id: 'convert', name: 'this reading', schema: 'Conversion', entries: [], more: [], start: { reading: newReading() } },
      { id: 'agree', name: 'several readings of one water', schema: 'Agreement', entries: [], more: [], start: { readings: [newReading(), newReading('conductivity-meter')] } },
    ],
  },
  {
    name: 'How much…',
    questions: [
      {
        id: 'use',
        name: 'is used up a day',
        schema: 'Consumption',
        entries: [volume('volumeL')],
        more: [],
        start: { volumeL: 100, log: [newLine(daysAgo(7), 'alkalinity', 8.8), newLine(daysAgo(3), 'alkalinity', 8), newLine(daysAgo(0), 'alkalinity', 7.4)] },
      },
      {
        id: 'lime',
        name: 'lime water',
        schema: 'LimeSupply',
        entries: [{ ...evaporation, min: 0.001, from: undefined, note: 'All of it given back as lime water.' }, use, ...water],
        more: [
          { path: 'limeGramsPerL', label: 'Lime stirred in', unit: 'g/L', step: 0.1, min: 0, max: 20, from: 1.5, note: 'Left out: more than dissolves.' },
          { path: 'reservoirTempC', label: 'Temperature of the reservoir', unit: '°C', step: 0.5, min: 2, max: 40, from: 22, note: 'Left out: 22 °C. The colder, the stronger.' },
          { path: 'reservoirLitres', label: 'In a full reservoir', unit: 'L', step: 5, min: 0, max: 100_000, from: 25, note: 'For what happens if all of it runs in at once.' },
          { path: 'doseLitresHour', label: 'Flow while it is given', unit: 'L/h', step: 1, min: 0, max: 10_000, from: 10, note: 'Left out: evenly over the day.' },
          { path: 'passingLitresHour', label: 'Water past the dosing point', unit: 'L/h', step: 100, min: 0, max: 1_000_000, from: 1000 },
          { path: 'recoveryHours', label: 'pH recovers in', unit: 'h', step: 1, min: 0.1, max: 1000, from: 12, note: 'By two thirds. Left out: 12 h.' },
          useCalcium,
          ...waterMore,
        ],
        start: { water: bucket, evaporationLitresDay: 1, useAlkalinityDKHDay: 0.5 },
      },
      {
        id: 'fluid',
        name: 'salt in a calibration fluid',
        schema: 'CalibrationFluid',
        entries: [
          { path: 'for', label: 'For', choices: [['refractometer', 'a refractometer'], ['conductivity', 'a conductivity meter']] },
          { path: 'targetPSU', label: 'Shall read as', unit: 'PSU', step: 1, min: 20, max: 45 },
          { path: 'waterL', label: 'RO/DI water', unit: 'L', step: 0.1, min: 0.01, max: 100, from: 1, note: 'Left out: one litre.' },
        ],
        more: [],
        start: { for: 'refractometer', targetPSU: 35, waterL: 1 },
      },
      {
        id: 'source',
        name: 'water from an RO/DI unit',
        schema: 'SourceWater',
        entries: [
          { path: 'litresDay', label: 'Needed', unit: 'L/day', step: 1, min: 0.01, max: 100_000 },
          { path: 'ratedLitresDay', label: 'On its label', unit: 'L/day', step: 10, min: 0.1, max: 100_000 },
          { path: 'pressureBar', label: 'Pressure at the membrane', unit: 'bar', step: 0.1, min: 0, max: 80 },
          { path: 'tempC', label: 'Tap water', unit: '°C', step: 1, min: 1, max: 45 },
          { path: 'tdsMgL', label: 'Solids in the tap water', unit: 'mg/L', step: 10, min: 0, max: 5000 },
        ],
        more: [
          { path: 'ageYears', label: 'Age of the membrane in years', step: 1, min: 0, max: 30, from: 1 },
          { path: 'rejectRatio', label: 'To the drain for each of product', step: 0.5, min: 0, max: 50, from: 3, note: 'Left out: 3.' },
          { path: 'reservoirL', label: 'Reservoir to refill', unit: 'L', step: 5, min: 0, max: 100_000, from: 50 },
          { path: 'resinL', label: 'Mixed-bed resin', unit: 'L', step: 0.5, min: 0, max: 1000, from: 1 },
          { path: 'resinUsedL', label: 'Product it has made', unit: 'L', step: 100, min: 0, max: 1_000_000, from: 0 },
          { path: 'filterL', label: 'Prefilters are good for', unit: 'L', step: 1000, min: 0, max: 10_000_000, from: 10_000 },
          { path: 'filterUsedL', label: 'Water through them so far', unit: 'L', step: 100, min: 0, max: 10_000_000, from: 0 },
        ],
        start: { litresDay: 8, ratedLitresDay: 190, pressureBar: 3.5, tempC: 12, tdsMgL: 250 },
      },
    ],
  },
]

export const questions: Question[] = groups.flatMap((g) => g.questions)

// What makes water saltier has to be saltier than it shall become.
const saltierBy = 5

const saidOf = (known: Body = {}): Body => Object.fromEntries(Object.entries(known).filter(([, value]) => value !== 0))

/** A question to begin with: as far as a tank is known, or else of a bucket. */
export function begin({ id, start }: Question, known: Body | undefined): Body {
  // Of an RO/DI unit nothing is known but what the tank needs: the rest comes as 0.
  const body = id === 'source' ? { ...start, ...saidOf(known) } : (known ?? start)
  const { salinityPSU, targetPSU, supplyPSU } = body
  const up = id === 'salt' && supplyPSU === undefined && Number(targetPSU) > Number(salinityPSU)
  return up ? { ...body, supplyPSU: Number(targetPSU) + saltierBy } : body
}

/** Asks the server a question; some are about a tank. */
export function askBench(id: QuestionId, body: Body, tank: string): Promise<{ data?: BenchAnswer; response: Response }> {
  switch (id) {
    case 'use':
      return server.POST('/api/bench/use', { body: body as unknown as Schemas['Consumption'] })
    case 'hand':
      return server.POST('/api/tanks/{tank}/bench/hand', { params: { path: { tank } }, body: body as unknown as Schemas['HandTopOff'] })
    case 'shock':
      return server.POST('/api/bench/shock', { body: body as unknown as Schemas['TopOffShock'] })
    case 'change':
      return server.POST('/api/bench/change', { body: body as unknown as Schemas['WaterChanges'] })
    case 'correct':
      return server.POST('/api/bench/correct', { body: body as unknown as Schemas['Correction'] })
    case 'salt':
      return server.POST('/api/bench/salt', { body: body as unknown as Schemas['SalinityMove'] })
    case 'convert':
      return server.POST('/api/bench/convert', { body: body as unknown as Schemas['Conversion'] })
    case 'agree':
      return server.POST('/api/bench/agree', { body: body as unknown as Schemas['Agreement'] })
    case 'lime':
      return server.POST('/api/bench/lime', { body: body as unknown as Schemas['LimeSupply'] })
    case 'fluid':
      return server.POST('/api/bench/fluid', { body: body as unknown as Schemas['CalibrationFluid'] })
    case 'source':
      return server.POST('/api/bench/source', { body: body as unknown as Schemas['SourceWater'] })
  }
}

const steps = (path: string) => path.split('.')

/** What stands at a path of a body; numbers in a path count items. */
export function at(body: Body, path: string): Value {
  return steps(path).reduce<Value>((within, key) => (typeof within === 'object' ? (within as Body)[key] : undefined), body)
}

/** Sets what stands at a path; undefined leaves it out. */
export function put(body: Body, path: string, value: Value) {
  const keys = steps(path)
  const last = keys.pop() ?? ''
  const within = keys.length === 0 ? body : at(body, keys.join('.'))
  if (typeof within !== 'object') return
  if (value === undefined) delete (within as Body)[last]
  else (within as Body)[last] = value
}

/** Steps in another unit are as round as those in the first: 1, 2 or 5. */
export function stepIn({ step = 1, unit = '' }: Entry, units: Units): number {
  const wide = Math.abs(convert(step, unit, units).value - convert(0, unit, units).value)
  if (wide === step) return step
  const size = 10 ** Math.floor(Math.log10(wide))
  return ([1, 2, 5, 10].find((n) => n * size >= wide * 0.99) ?? 10) * size
}

/** How many decimals a number that moves by steps needs. */
export const decimalsOfStep = (step: number): number => Math.max(0, Math.min(4, Math.ceil(-Math.log10(step) - 1e-9)))
