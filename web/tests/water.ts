// The bench of the fixture server: an answer with one of everything, that says
// what it was asked.
import type { BenchAnswer, TankBench } from '../src/api/client'
import { iso } from './fleet'

const day = 86_400_000

export function answerTo(question: string, body: Record<string, unknown>): BenchAnswer {
  return {
    sentence: `${question}: ${JSON.stringify(body)}`,
    figures: [
      { name: 'alkalinity-closed', words: 'alkalinity within minutes', unit: 'dKH', value: 7.842, low: 7.63, high: 8.05 },
      { name: 'salinity', words: 'salinity then', unit: 'PSU', value: 33.9, low: 33.6, high: 34.2 },
      { name: 'temperature-change', words: 'change of temperature', unit: '°C difference', value: -0.5, low: -0.7, high: -0.3 },
      { name: 'water-new', words: 'share of the water that is new', unit: '%', value: 34.4 },
    ],
    dates: [{ name: 'calibration', words: 'next calibration of the refractometer', likely: iso(12 * day), earliest: iso(5 * day), latest: iso(20 * day) }],
    steps: ['Dissolve 12 g of sodium bicarbonate in RO/DI water.', 'Give it where the water moves, over an hour.'],
    series: [
      { name: 'alkalinity', words: 'alkalinity in the days to come', unit: 'dKH', time: 'days', at: [0, 1, 2, 3], value: [7.8, 8, 8.2, 8.4], low: [7.6, 7.8, 8, 8.2], high: [8, 8.2, 8.4, 8.6] },
      { name: 'alone', words: 'alkalinity if nothing is done', unit: 'dKH', time: 'days', at: [0, 1, 1, 3], value: [7.8, 7.3, 7.6, 6.6] },
      { name: 'salinity', words: 'salinity', unit: 'PSU', time: 'days', at: [0, 3], value: [35, 34] },
    ],
    notes: ['The volume is taken as known; if it is off by 5 %, so is the share of each change.'],
    cautions: ['Change alkalinity slowly: by no more than about 1 dKH a day.'],
    sources: ['Dickson, Sabine and Christian (2007), Guide to best practices for ocean CO2 measurements, PICES Special Publication 3.'],
  }
}

export function benchOf(): TankBench {
  const water = { volumeL: 1460, tempC: 25.3, salinityPSU: 34.1, alkalinityDKH: 7.8 }
  return {
    use: {
      volumeL: 1460,
      log: [
        { at: iso(-9 * day), what: 'alkalinity', amount: 8.6 },
        { at: iso(-6 * day), what: 'water-change', amount: 150 },
        { at: iso(-3 * day), what: 'alkalinity', amount: 7.8 },
      ],
    },
    hand: { everyDays: 3 },
    correct: { water, targetAlkalinityDKH: 8.5, alkalinityFrom: 'sodium-bicarbonate', calciumFrom: 'calcium-chloride-dihydrate', magnesiumFrom: 'magnesium-chloride-hexahydrate' },
    salt: { volumeL: 1460, tempC: 25.3, salinityPSU: 34.1, targetPSU: 35, way: 'exchange', evaporationLitresDay: 7.3 },
    change: { water, eachL: 146, times: 4, everyDays: 7, ion: 'nitrate' },
    shock: { water, topOffL: 22, evaporationLitresDay: 7.3 },
    source: { litresDay: 13, ratedLitresDay: 0, pressureBar: 0, tempC: 0, tdsMgL: 0 },
    lime: { water, evaporationLitresDay: 7.3 },
    known: [
      { field: 'log', from: 'hand readings and water changes of the last 60 days; doses are not kept, so add them' },
      { field: 'alkalinityDKH', from: 'read on 2026-11-22, by titration' },
      { field: 'volumeL', from: 'the tank file: display and sump as running' },
    ],
  }
}
