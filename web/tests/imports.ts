// A small reader of tables for the fixture server: times in the first column,
// temperature and level by their names, and nothing else.
import type { ImportColumn, ImportMapping, ImportPreview, ImportProblem, ImportResult } from '../src/api/client'

const signs = { comma: ',', semicolon: ';', tab: '\t', bar: '|' }

const channels: ImportPreview['channels'] = [
  { id: 'level', contact: false, units: ['m', 'cm', 'mm', 'in'] },
  { id: 'temperature', contact: false, units: ['°C', '°F'] },
  { id: 'watch', contact: true, units: [] },
]

/** The parts of a multipart body that are text, by their names. */
export function partsOf(body: string): Record<string, string> {
  const parts: Record<string, string> = {}
  for (const part of body.split(/--+[^\r\n]*boundary[^\r\n]*\r?\n?|------[^\r\n]*\r?\n?/i)) {
    const [, name = '', text = ''] = /name="([^"]+)"[\s\S]*?\r\n\r\n([\s\S]*?)\r\n$/.exec(part) ?? []
    if (name) parts[name] = text
  }
  return parts
}

function guess(text: string): ImportMapping {
  const [head = ''] = text.split('\n')
  const separator = (Object.keys(signs) as (keyof typeof signs)[]).find((s) => head.includes(signs[s])) ?? 'comma'
  const columns = head.split(signs[separator]).flatMap((name, i): ImportColumn[] => {
    const column = { column: i + 1, header: name.trim() }
    if (i === 0) return [{ ...column, use: 'time' }]
    if (/temp/i.test(name)) return [{ ...column, use: 'value', channel: 'temperature', unit: '°C' }]
    return []
  })
  const several = /\b0?[1-9]\/0?[1-9]\/\d{4}/.test(text)
  return { separator, header: true, decimalComma: false, timeFormat: several ? undefined : 'year-month-day', zone: '', columns }
}

const atOf = (time: string, format: ImportMapping['timeFormat']) => {
  const [, a = '', b = '', year = '', clock = ''] = /^(\d+)\/(\d+)\/(\d+) (.*)$/.exec(time) ?? []
  if (!year) return Date.parse(`${time.replace(' ', 'T')}Z`)
  return format === 'day-month-year' ? Date.parse(`${year}-${b.padStart(2, '0')}-${a.padStart(2, '0')}T${clock}Z`) : Date.parse(`${year}-${a.padStart(2, '0')}-${b.padStart(2, '0')}T${clock}Z`)
}

export function preview(parts: Record<string, string>): ImportPreview {
  const text = (parts.file ?? '').trim()
  const mapping = parts.mapping ? (JSON.parse(parts.mapping) as ImportMapping) : guess(text)
  const rows = text.split(/\r?\n/).map((line) => line.split(signs[mapping.separator]).map((cell) => cell.trim()))
  const firstRead: ImportPreview['firstRead'] = []
  const problems: ImportProblem[] = []
  const values = mapping.columns.filter((c) => c.use === 'value')
  rows.slice(1).forEach((cells, i) => {
    if (!mapping.timeFormat) return
    for (const { column, header, channel = '', unit = '' } of values) {
      const value = Number(cells[column - 1])
      const celsius = unit === '°F' ? (value - 32) / 1.8 : value
      if (channel === 'temperature' && !(celsius < 50)) {
        problems.push({ row: i + 2, column, header, value: cells[column - 1], reason: 'is above 50 °C', fix: 'correct it, or choose another unit' })
      } else {
        firstRead.push({ row: i + 2, at: new Date(atOf(cells[0] ?? '', mapping.timeFormat)).toISOString(), channel, value: unit === 'mm' ? value / 1000 : celsius, unit: channel === 'level' ? 'm' : '°C' })
      }
    }
  })
  return {
    mapping,
    rows: rows.length - 1,
    firstRows: rows.slice(0, 5),
    firstRead: firstRead.slice(0, 4),
    timeFormats: rows[1]?.[0]?.includes('/') ? ['day-month-year', 'month-day-year'] : ['year-month-day'],
    zoneMatters: true,
    readings: firstRead.length,
    from: firstRead[0]?.at,
    to: firstRead.at(-1)?.at,
    problems,
    problemCount: problems.length,
    channels,
  }
}

export function imported(parts: Record<string, string>): ImportResult {
  const { readings, from, to, problems, problemCount } = preview(parts)
  return { readings, repeated: 0, tooOld: 0, from, to, deviceId: 'table', problems, problemCount, account: readings > 0 }
}
