import { expect, test } from 'vitest'
import type { ImportMapping, PlanPage, Route } from '../api/client'
import { likelyContact, nextWaitS, routeWords } from './plan'
import { columnsOf, problemSentence, samplesOf, tableForm } from './table'

const mapping: ImportMapping = {
  separator: 'comma',
  header: true,
  decimalComma: false,
  zone: '',
  columns: [{ column: 2, use: 'value', channel: 'level', unit: 'mm', header: 'Level' }],
}
const rows = [['When', 'Level', 'Note'], ['08:00', '321'], ['09:00', '322', 'odd'], ['10:00', '323', ''], ['11:00', '324', '']]

test('every column of a table is shown, those that nobody mapped as not read', () => {
  expect(columnsOf(rows, mapping).map(({ use, header }) => `${header}: ${use}`)).toEqual(['When: ignore', 'Level: value', 'Note: ignore'])
  expect(samplesOf(rows, true, 3)).toEqual(['–', 'odd', '–'])
  expect(samplesOf(rows, false, 1)).toEqual(['When', '08:00', '09:00'])
})

test.each([
  [{ row: 14, column: 2, header: 'Temp', value: '181', reason: 'is above 50 °C', fix: 'send degrees Celsius' }, 'Row 14, Temp: “181” is above 50 °C; send degrees Celsius.'],
  [{ row: 3, column: 4, reason: 'is empty' }, 'Row 3, column 4: is empty.'],
  [{ row: 9, reason: 'has no time' }, 'Row 9: has no time.'],
])('a problem of a table: %o', (problem, want) => {
  expect(problemSentence(problem)).toBe(want)
})

test('a table goes to the server with how it is read, or without to be guessed', async () => {
  const form = tableForm(new Blob(['a,b']), mapping)
  expect(await (form.get('file') as File).text()).toBe('a,b')
  expect(JSON.parse(form.get('mapping') as string)).toEqual(mapping)
  expect(tableForm(new Blob(['a']), undefined).has('mapping')).toBe(false)
})

const contact = (person: string, address: string, channel: 'mail' | 'webhook' = 'mail') => ({ person, address, channel })
const route = (rungs: Route['rungs'], rest: Partial<Route> = {}): Route => ({ rungs, ...rest })

test('a route is said as it climbs', () => {
  const ada = contact('ada', 'ada@reef.example')
  expect(routeWords(route([{ waitS: 0, contacts: [ada, contact('bo', 'pager', 'webhook')] }, { waitS: 1800, contacts: [ada] }], { rounds: 2, repeatS: 7200 }))).toBe(
    'at once ada by mail and bo by pager; after 30 minutes ada by mail; begun 2 times, 2 hours apart',
  )
})

test('one more rung waits longer than the last, and begins with who can be reached', () => {
  expect(nextWaitS(route([]))).toBe(0)
  expect(nextWaitS(route([{ waitS: 600, contacts: [] }]))).toBe(1500)
  const page = (part: Partial<PlanPage>): PlanPage => ({ plan: {} as PlanPage['plan'], hasMail: true, webhooks: [], people: [{ name: 'ada', mail: 'ada@reef.example' }], ...part })
  expect(likelyContact(page({}))).toEqual(contact('ada', 'ada@reef.example'))
  expect(likelyContact(page({ hasMail: false, webhooks: ['pager'] }))).toEqual(contact('ada', 'pager', 'webhook'))
  expect(likelyContact(page({ people: [] }))).toEqual(contact('', ''))
})
