import { expect, test } from 'vitest'
import type { FormField, FormGroup, Wrong } from '../api/client'
import { countWithin, digest, groupAt, homeless, notes, worthShowing, wrongsAt } from './form'

const field = (path: string, rest: Partial<FormField> = {}): FormField => ({ path, label: path, help: '', kind: 'quantity', optional: false, present: true, value: '1 m', ...rest })
const group = (path: string, rest: Partial<FormGroup> = {}): FormGroup => ({ path, label: path, help: '', list: false, optional: false, present: true, fields: [], groups: [], ...rest })
const wrong = (path: string): Wrong => ({ field: path, reason: 'is wrong' })

const compartments = group('sump.compartments', { list: true, groups: [group('sump.compartments[1]', { fields: [field('sump.compartments[1].length')] })] })
const sump = group('sump', { fields: [field('sump.width'), field('sump.surface', { kind: 'choice', value: 'rippled' })], groups: [compartments] })
const absent = group('skimmer', { present: false, optional: true, fields: [field('skimmer.cup')] })
const root = group('', { fields: [field('name', { kind: 'text' })], groups: [sump, absent] })

test('a wrong belongs to the groups around its field, and not to a namesake', () => {
  const wrongs = ['sump.compartments[1].length', 'sump', 'sumptuous.width', 'name'].map(wrong)
  expect(countWithin(wrongs, sump)).toBe(2)
  expect(countWithin(wrongs, compartments)).toBe(1)
  expect(wrongsAt(wrongs, 'sump')).toEqual([wrong('sump')])
})

test('a wrong without a place in the form is said above it', () => {
  const wrongs = ['', 'sump.width', 'sump.colour', 'skimmer.cup', 'sump.compartments[1].length'].map(wrong)
  expect(homeless({ text: '', root, problems: wrongs, warnings: [] }, wrongs).map((w) => w.field)).toEqual(['', 'sump.colour', 'skimmer.cup'])
})

test('a group is found by its path, an item of a list too', () => {
  expect(groupAt(root, 'sump.compartments[1]')?.fields).toHaveLength(1)
  expect(groupAt(root, 'attic')).toBeUndefined()
})

test('a closed group tells a few of its values', () => {
  expect(digest(sump)).toBe('1 m · rippled')
  expect(digest(compartments)).toBe('one')
  const five = group('many', { fields: ['a', 'b', 'c', 'd', 'e'].map((p) => field(p)) })
  expect(digest(five)).toBe('1 m · 1 m · 1 m · 1 m …')
  expect(digest(group('alarm', { fields: [field('alarm.audible', { kind: 'yes-no', label: 'Audible', value: 'yes' })] }))).toBe('audible: yes')
})

test('what to know before a field is filled in', () => {
  expect(notes(field('a', { help: 'inside measure', range: '20 mm to 5 m', example: '340 mm' }))).toBe('Inside measure. 20 mm to 5 m, like 340 mm.')
  expect(notes(field('a', { value: '340 mm', example: '340 mm' }))).toBe('')
  expect(notes(field('a', { present: false, value: '', absent: 'none' }))).toBe('Left out: none.')
})

test('one choice, taken, is not asked', () => {
  const version = { kind: 'choice', choices: ['1'], value: '1' } as const
  expect(worthShowing(field('isohaline', { ...version, choices: ['1'] }))).toBe(false)
  expect(worthShowing(field('isohaline', { ...version, choices: ['1'], value: '7' }))).toBe(true)
  expect(worthShowing(field('surface', { kind: 'choice', choices: ['still', 'rippled'], value: 'still' }))).toBe(true)
})
