// A few keys of a tank file as a form, for the fixture server. It reads and
// changes the file by line, which is enough for files like the examples.
import type { Check, Draft, Form, FormEdit, FormField, FormGroup, Wrong } from '../src/api/client'

const field = (path: string, label: string, rest: Partial<FormField> = {}): FormField => ({
  path,
  label,
  help: '',
  kind: 'quantity',
  optional: false,
  present: true,
  value: '',
  ...rest,
})

const length = { quantity: 'a length', units: ['mm', 'cm', 'm', 'in', 'ft'], range: '20 mm to 5 m', example: '600 mm' }

const group = (path: string, label: string, help: string, fields: FormField[], rest: Partial<FormGroup> = {}): FormGroup => ({
  path,
  label,
  help,
  list: false,
  optional: false,
  present: true,
  fields,
  groups: [],
  ...rest,
})

const groups = (): FormGroup[] => [
  group('water', 'Water', 'What the tank is kept at.', [
    field('water.salinity', 'Salinity', { units: ['ppt', 'PSU', 'SG'], range: '5 to 42 ppt', example: '35 ppt', help: 'target; a specific gravity will do' }),
    field('water.temperature', 'Temperature', { units: ['°C', '°F'], range: '4 °C to 40 °C', example: '25 °C' }),
    field('water.alkalinity', 'Alkalinity', { units: ['dKH'], optional: true, absent: 'not stated', example: '8 dKH' }),
  ]),
  group('display', 'Display', 'The tank that people look at.', [
    field('display.shape', 'Shape', { kind: 'choice', choices: ['rectangle', 'cylinder', 'table'] }),
    field('display.length', 'Length', length),
    field('display.width', 'Width', length),
    field('display.height', 'Height', length),
  ]),
  group('alarm', 'Alarm', 'How trouble reaches a person.', [
    field('alarm.audible', 'Audible', { kind: 'yes-no', optional: true, absent: 'no' }),
  ]),
  group('limits', 'Limits', 'Where the harm classes begin.', [field('limits.salinity off', 'Salinity off target', { kind: 'list', optional: true, absent: '0.5, 1.5, 4 and 8 PSU' })], { optional: true }),
]

const root = (): FormGroup =>
  group('', 'Tank file', '', [
    field('isohaline', 'Isohaline', { kind: 'choice', choices: ['1'] }),
    field('name', 'Name', { kind: 'text', help: 'what people call the tank' }),
    field('place', 'Place', { kind: 'text', optional: true, help: 'where it stands' }),
  ], { groups: groups() })

const lineOf = (lines: string[], path: string) => {
  const [head = '', key] = path.split('.')
  const at = lines.findIndex((l) => l.startsWith(`${head}:`))
  if (at < 0 || key === undefined) return at
  const end = lines.findIndex((l, i) => i > at && /^\S/.test(l))
  return lines.findIndex((l, i) => i > at && (end < 0 || i < end) && l.startsWith(`  ${key}:`))
}

const valueOf = (line: string | undefined) => /:\s*(.*?)\s*(#.*)?$/.exec(line ?? '')?.[1] ?? ''

function edited(text: string, { do: what, path, value = '' }: FormEdit): string {
  const lines = text.split('\n')
  const at = lineOf(lines, path)
  if (what === 'add') return `${text.trimEnd()}\n${path}:\n`
  if (what === 'remove') return lines.filter((_, i) => i !== at).join('\n')
  if (at >= 0) {
    lines[at] = (lines[at] ?? '').replace(/(:\s*)(.*?)(\s*#.*)?$/, (_, colon: string, _old, comment = '') => `${colon.trimEnd()} ${value}${comment}`)
  } else {
    const [head = '', key = ''] = path.split('.')
    lines.splice(lineOf(lines, head) + 1, 0, `  ${key}: ${value}`)
  }
  return lines.join('\n')
}

function filled(g: FormGroup, text: string): FormGroup {
  const lines = text.split('\n')
  const values = g.fields.map((f) => ({ ...f, present: lineOf(lines, f.path) >= 0, value: valueOf(lines[lineOf(lines, f.path)]) }))
  return { ...g, present: g.path === '' || lineOf(lines, g.path) >= 0, fields: values, groups: g.groups.map((inner) => filled(inner, text)) }
}

/** A salinity that is no number is the one mistake that this reader knows. */
export function mistakesIn(text: string): Wrong[] {
  const line = text.split('\n').findIndex((l) => /salinity: [a-z]/.test(l)) + 1
  if (line === 0) return []
  return [{ field: 'water.salinity', value: 'salty', reason: 'is no salinity', fix: 'give one like 35 ppt', line, column: 13 }]
}

export function formOf(text: string): Form {
  return { text, root: filled(root(), text), problems: mistakesIn(text), warnings: [] }
}

export function draftAfter(text: string, edits: FormEdit[], made: { section: string; check: Check }): Draft {
  const form = formOf(edits.reduce(edited, text))
  return form.problems.length > 0 ? { form } : { form, ...made }
}
