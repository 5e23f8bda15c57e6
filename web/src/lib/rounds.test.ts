import { describe, expect, test } from 'vitest'
import type { components } from '../api/schema'
import type { Rounds } from '../api/client'
import { updated } from './rounds'

type Event = components['schemas']['RoundsEvent']
type Row = Rounds['needPerson'][number]

const at = (minute: number) => `2026-11-30T10:0${minute}:00Z`
const tank = (id: string) => ({ id, name: `Tank ${id}`, siteId: 's', siteName: 'S' })
const needs = (id: string, sentence = 'wet') => ({ tank: tank(id), finding: { sentence } }) as Row
const quiet = (id: string, notes: string[] = []) => ({ tank: tank(id), notes })
const event = (minute: number, rest: Partial<Event>): Event => ({
  at: at(minute),
  whole: false,
  needPerson: [],
  quiet: [],
  gone: [],
  order: [],
  ...rest,
})
const names = (rounds?: Rounds) => [rounds?.needPerson.map((row) => row.tank.id).join(), rounds?.quiet.map((row) => row.tank.id).join()]

const list = updated(undefined, event(1, { whole: true, needPerson: [needs('c'), needs('a')], quiet: [quiet('b'), quiet('d')], order: ['c', 'a'] }))

describe('Rounds with what has changed', () => {
  test('begins with the whole list', () => {
    expect(names(list)).toEqual(['c,a', 'b,d'])
    expect(updated(undefined, event(1, { quiet: [quiet('b')] }))).toBeUndefined()
  })

  test.each<[string, Partial<Event>, string, string]>([
    ['a quiet tank needs a person', { needPerson: [needs('d')], order: ['d', 'c', 'a'] }, 'd,c,a', 'b'],
    ['one needs nobody any more', { quiet: [quiet('c')], order: ['a'] }, 'a', 'b,c,d'],
    ['the order changes', { needPerson: [needs('a', 'flood')], order: ['a', 'c'] }, 'a,c', 'b,d'],
    ['a tank is new', { quiet: [quiet('bb')], order: ['c', 'a'] }, 'c,a', 'b,bb,d'],
    ['tanks are gone', { gone: ['c', 'd'], order: ['a'] }, 'a', 'b'],
    ['the whole list comes again', { whole: true, quiet: [quiet('z')] }, '', 'z'],
  ])('%s', (_, change, need, rest) => {
    expect(names(updated(list, event(2, change)))).toEqual([need, rest])
  })

  test('a row that changed is the new one, the others stay', () => {
    const next = updated(list, event(2, { needPerson: [needs('a', 'flood')], quiet: [quiet('b', ['a fan'])], order: ['c', 'a'] }))
    expect(next?.needPerson.map((row) => row.finding.sentence)).toEqual(['wet', 'flood'])
    expect(next?.quiet[0]?.notes).toEqual(['a fan'])
    expect(next?.at).toBe(at(2))
  })

  test('an event that was overtaken changes nothing', () => {
    expect(updated(list, event(0, { gone: ['a', 'b', 'c', 'd'] }))).toBe(list)
  })
})
