// A tank file as groups of fields: what belongs where.
import type { Form, FormField, FormGroup, Wrong } from '../api/client'

/** Whether a path is another's own or lies below it. */
const within = (path: string, above: string) =>
  path === above || (path.startsWith(above) && ['.', '['].includes(path.charAt(above.length)))

/** How many of the wrongs a group holds. */
export const countWithin = (wrongs: Wrong[], group: FormGroup) =>
  wrongs.filter((w) => within(w.field, group.path)).length

/** The wrongs of exactly this place. */
export const wrongsAt = (wrongs: Wrong[], path: string) => wrongs.filter((w) => w.field === path)

export function groupAt(group: FormGroup, path: string): FormGroup | undefined {
  if (group.path === path) return group
  for (const inner of group.groups) {
    const found = groupAt(inner, path)
    if (found) return found
  }
  return undefined
}

/** The places of a form that a wrong can stand beside: fields, and groups in the file. */
function places(group: FormGroup): string[] {
  if (group.path !== '' && !group.present) return []
  return [group.path, ...group.fields.map((f) => f.path), ...group.groups.flatMap(places)]
}

/** The wrongs that no place of the form can show: they are said above it. */
export function homeless(form: Form, wrongs: Wrong[]): Wrong[] {
  const known = new Set(places(form.root).filter((path) => path !== ''))
  return wrongs.filter((w) => !known.has(w.field))
}

/** A field with one choice, taken, leaves nothing to say. */
export const worthShowing = ({ kind, choices, value, optional }: FormField) =>
  !(kind === 'choice' && !optional && choices?.length === 1 && choices[0] === value)

const digestValues = 4

/** What a closed group holds, in a few of its values. */
export function digest(group: FormGroup): string {
  if (group.list) return group.groups.length === 1 ? 'one' : `${group.groups.length}`
  const values = (g: FormGroup): string[] => [
    ...g.fields.filter((f) => f.present && f.value !== '').map(said),
    ...g.groups.filter((inner) => inner.present && !inner.list).flatMap(values),
  ]
  const all = values(group)
  return all.slice(0, digestValues).join(' · ') + (all.length > digestValues ? ' …' : '')
}

// A bare "yes" says nothing without its label.
const said = ({ kind, label, value }: FormField) =>
  kind === 'yes-no' ? `${label.toLowerCase()}: ${value}` : (value.split('\n')[0] ?? '')

/** What to know before filling a field in. */
export function notes(field: FormField): string {
  const like = field.example && field.value !== field.example ? `like ${field.example}` : ''
  const bounds = [field.range, like].filter(Boolean).join(', ')
  return [
    field.help && sentence(plain(field.help)),
    bounds && sentence(bounds),
    field.absent && !field.present && sentence(`left out: ${field.absent}`),
  ]
    .filter(Boolean)
    .join(' ')
}

/** Help from the schema without its marks around names. */
export const plain = (text: string) => text.replaceAll('`', '')

const sentence = (text: string) => `${text.charAt(0).toUpperCase()}${text.slice(1).replace(/\.$/, '')}.`
