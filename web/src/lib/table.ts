// A table of readings on its way in: what its columns may be, and how it is sent.
import type { ImportColumn, ImportMapping, ImportProblem } from '../api/client'

export type Use = ImportColumn['use']

export const uses: { use: Use; name: string }[] = [
  { use: 'ignore', name: 'not read' },
  { use: 'time', name: 'time: date and clock' },
  { use: 'date', name: 'date' },
  { use: 'clock', name: 'time of day' },
  { use: 'value', name: 'readings' },
  { use: 'name', name: 'what was read, row by row' },
  { use: 'number', name: 'the value, row by row' },
  { use: 'unit', name: 'the unit, row by row' },
]

export const separators: { value: ImportMapping['separator']; name: string }[] = [
  { value: 'comma', name: 'comma' },
  { value: 'semicolon', name: 'semicolon' },
  { value: 'tab', name: 'tab' },
  { value: 'bar', name: 'bar |' },
]

export type TimeFormat = NonNullable<ImportMapping['timeFormat']>

export const timeFormats: { value: TimeFormat; name: string }[] = [
  { value: 'year-month-day', name: '2026-11-25 14:30' },
  { value: 'day-month-year', name: '25/11/2026 14:30' },
  { value: 'month-day-year', name: '11/25/2026 2:30 PM' },
  { value: 'unix-seconds', name: 'seconds since 1970' },
  { value: 'unix-milliseconds', name: 'milliseconds since 1970' },
  { value: 'spreadsheet-days', name: 'days of a spreadsheet' },
]

export const mostBytes = 10_000_000

/** The table and how it is read, as the server takes them. */
export function tableForm(file: Blob, mapping: ImportMapping | undefined): FormData {
  const form = new FormData()
  form.set('file', new Blob([file], { type: 'text/plain' }), 'table.csv')
  if (mapping) form.set('mapping', JSON.stringify(mapping))
  return form
}

/** "Row 14, Temp: “181” is above 50 °C; send degrees Celsius." */
export function problemSentence({ row, column, header, value, reason, fix }: ImportProblem): string {
  const where = header || (column ? `column ${column}` : '')
  const said = [`Row ${row}${where ? `, ${where}` : ''}:`, value && `“${value}”`, reason].filter(Boolean).join(' ')
  return `${said}${fix ? `; ${fix}` : ''}.`
}

const samples = 3

/** What stands in a column, counted from 1, of the first rows without the header. */
export function samplesOf(firstRows: string[][], header: boolean, column: number): string[] {
  return firstRows.slice(header ? 1 : 0, samples + (header ? 1 : 0)).map((row) => row[column - 1] || '–')
}

/** All columns of a table, those that the mapping leaves out as not read. */
export function columnsOf(firstRows: string[][], mapping: ImportMapping): ImportColumn[] {
  const width = Math.max(0, ...firstRows.map((row) => row.length))
  const heads = mapping.header ? (firstRows[0] ?? []) : []
  return Array.from({ length: width }, (_, i) => {
    const known = mapping.columns.find((c) => c.column === i + 1)
    return known ?? { column: i + 1, use: 'ignore', header: heads[i] }
  })
}
