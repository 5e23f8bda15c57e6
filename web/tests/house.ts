// The fixture server's house: who may sign in, who is told of alarms and how, and
// who changed what.
import type { components } from '../src/api/schema'
import type { AuditLine, Delivery, Notice, Person, Plan, PlanPage, Recipient, Retention, Route, SignOfLife } from '../src/api/client'
import { iso, tankRefs } from './fleet'

type Schemas = components['schemas']

export interface Answer {
  status?: number
  json?: unknown
  problem?: string
}

const minute = 60_000
const hour = 60 * minute
const day = 24 * hour

const ada: Recipient = { person: 'ada', channel: 'mail', address: 'ada@larkspur.example' }
const bo: Recipient = { person: 'bo', channel: 'webhook', address: 'night-desk' }
const route = (rungs: Route['rungs'], rest: Partial<Route> = {}): Route => ({ rungs, rounds: 1, repeatS: 0, ...rest })

const notice = (id: string, part: Partial<Notice>): Notice => ({
  id,
  alarmId: 'lobby-reef-leak',
  siteId: tankRefs.lobby.siteId,
  tankId: tankRefs.lobby.id,
  title: 'Tank water leaking',
  contact: ada,
  decided: iso(-day),
  called: iso(-day),
  rung: 1,
  round: 1,
  end: false,
  outcome: 'sent',
  reason: 'the alarm calls',
  attempts: [],
  ...part,
})

export class House {
  delivery: Delivery = {
    mail: { host: 'mail.larkspur.example', port: 587, security: 'starttls', user: 'alarms', hasPassword: true, from: 'alarms@larkspur.example' },
    webhooks: [{ name: 'night-desk', host: 'hooks.larkspur.example', hasToken: true, inside: false }],
  }
  /** what was last saved, secrets and all */
  savedDelivery: Schemas['DeliveryInBody'] | undefined
  /** what the next test message comes to */
  delivered = true
  tested: Schemas['TryDeliveryInBody'][] = []
  plans: Record<string, Plan> = {
    'larkspur-harbour': {
      critical: route([{ waitS: 0, contacts: [ada] }, { waitS: 900, contacts: [bo] }], { rounds: 3, repeatS: 3600 }),
      high: route([{ waitS: 0, contacts: [ada] }]),
      medium: route([]),
      low: route([]),
      tellEnd: true,
      zone: 'Europe/Lisbon',
    },
  }
  notices: Notice[] = [
    notice('n3', {
      contact: bo,
      decided: iso(-20 * minute),
      rung: 2,
      outcome: 'failed',
      reason: 'nobody acknowledged in time',
      attempts: [
        { at: iso(-20 * minute), problem: 'hooks.larkspur.example: connection refused' },
        { at: iso(-15 * minute), problem: 'hooks.larkspur.example: connection refused' },
      ],
    }),
    notice('n2', {
      decided: iso(-35 * minute),
      attempts: [{ at: iso(-35 * minute), problem: '', subject: 'High: Lobby reef is leaking', text: 'Lobby reef is drinking 2.1 L a day more than the air explains.\nAcknowledge it at https://isohaline.larkspur.example/#/alarms' }],
    }),
    notice('n1', { title: 'Top-off overdue', decided: iso(-3 * day), rung: 0, round: 0, end: true, reason: 'the condition is gone' }),
  ]
  people: Person[] = [
    { name: 'ada', role: 'operator', units: 'metric', siteIds: [], mail: ada.address },
    { name: 'bo', role: 'technician', units: 'metric', siteIds: ['larkspur-harbour', 'weir-lane'], mail: 'bo@larkspur.example' },
    { name: 'front-desk', role: 'client', units: 'us', siteIds: ['larkspur-harbour'] },
  ]
  passwords: Record<string, string> = {}
  signOfLife: SignOfLife = { host: '', method: 'GET', everyS: 300, inside: false }
  /** as it was last saved, with the address */
  savedSign: Schemas['SignInBody'] | undefined
  retention: Retention = { readingsDays: 90, minutesDays: 400, hoursDays: 3653, daysDays: 0 }
  audit: AuditLine[] = Array.from({ length: 130 }, (_, i) => ({
    id: 130 - i,
    at: iso(-i * 3 * hour),
    by: i % 3 === 0 ? 'bo' : 'ada',
    did: i % 2 === 0 ? 'acknowledge' : 'set plan',
    to: i % 2 === 0 ? 'alarm/larkspur-harbour:lobby-reef::tank-leak' : 'site/larkspur-harbour',
    more: i % 2 === 0 ? undefined : i % 4 === 1 ? '{"tellEnd":true,"zone":"Europe/Lisbon"}' : JSON.stringify({ zone: 'Europe/Lisbon', critical: { rungs: [{ wait: 0, contacts: [ada, bo] }] } }),
  }))

  answer(key: string, query: URLSearchParams, body: unknown): Answer | undefined {
    switch (key) {
      case 'GET /api/delivery':
        return { json: this.delivery }
      case 'PUT /api/delivery':
        return this.#saveDelivery(body as Schemas['DeliveryInBody'])
      case 'POST /api/delivery/test':
        this.tested.push(body as Schemas['TryDeliveryInBody'])
        return {
          json: this.delivered
            ? { at: iso(0), delivered: true, words: 'the message was taken; see whether it arrives' }
            : { at: iso(0), delivered: false, words: 'mail.larkspur.example:587 does not accept the password' },
        }
      case 'GET /api/notices':
        return { json: { notices: this.notices.filter((n) => !query.get('outcome') || n.outcome === query.get('outcome')) } }
      case 'GET /api/people':
        return { json: { people: this.people } }
      case 'POST /api/people':
        return this.#newPerson(body as Schemas['NewPersonInBody'])
      case 'GET /api/audit':
        return this.#audit(query)
      case 'GET /api/sign-of-life':
        return { json: this.signOfLife }
      case 'PUT /api/sign-of-life': {
        const { url, ...rest } = body as Schemas['SignInBody']
        this.savedSign = body as Schemas['SignInBody']
        const host = url === undefined ? this.signOfLife.host : url && new URL(url).host
        this.signOfLife = { ...rest, host, inside: rest.inside ?? false }
        return { json: this.signOfLife }
      }
      case 'POST /api/sign-of-life/test':
        return { json: { at: iso(0), delivered: this.delivered, words: this.delivered ? 'the address took it' : 'life.larkspur.example answered 404 Not Found' } }
      case 'GET /api/retention':
        return { json: this.retention }
      case 'PUT /api/retention':
        this.retention = body as Retention
        return { json: this.retention }
      case 'PUT /api/session/password':
        return (body as Schemas['PasswordInBody']).old === 'four tall ships sail'
          ? { status: 204 }
          : { status: 422, problem: 'The password was not changed: it is not your password.' }
    }
    const [, method, kind, id = '', part] = /^(\w+) \/api\/(\w+)\/([^/]+)\/?(\w*)$/.exec(key) ?? []
    if (kind === 'sites' && part === 'plan') return this.#plan(method, id, body)
    if (kind === 'alarms' && part === 'notices') return { json: { notices: this.notices.filter((n) => n.alarmId === id) } }
    if (kind === 'people') return this.#editPerson(id, part, body)
    return undefined
  }

  #saveDelivery(body: Schemas['DeliveryInBody']): Answer {
    this.savedDelivery = body
    const old = this.delivery
    this.delivery = {
      mail: body.mail && { ...body.mail, user: body.mail.user ?? '', hasPassword: body.mail.password !== '' && (body.mail.password !== undefined || (old.mail?.hasPassword ?? false)) },
      webhooks: body.webhooks.map(({ name, url, token, inside = false }) => {
        const kept = old.webhooks.find((h) => h.name === name)
        return { name, host: url ? new URL(url).host : (kept?.host ?? ''), hasToken: token ? true : (kept?.hasToken ?? false), inside }
      }),
    }
    return { json: this.delivery }
  }

  #plan(method: string | undefined, site: string, body: unknown): Answer {
    const none = { critical: route([]), high: route([]), medium: route([]), low: route([]), tellEnd: false, zone: '' }
    if (method === 'PUT') {
      const plan = body as Plan
      for (const { rungs } of [plan.critical, plan.high, plan.medium, plan.low]) {
        const late = rungs.findIndex((rung, i) => i > 0 && rung.waitS <= (rungs[i - 1]?.waitS ?? 0))
        if (late > 0) return { status: 422, problem: `plan for critical alarms: rung ${late + 1}: wait is not after that of the rung before it, use more` }
      }
      this.plans[site] = plan
    }
    const page: PlanPage = {
      plan: this.plans[site] ?? none,
      hasMail: this.delivery.mail !== undefined,
      webhooks: this.delivery.webhooks.map((h) => h.name),
      people: this.people.filter((p) => p.mail && !p.disabled).map((p) => ({ name: p.name, mail: p.mail ?? '' })),
    }
    return { json: page }
  }

  #newPerson({ name, role, mail, siteIds = [], password }: Schemas['NewPersonInBody']): Answer {
    if (this.people.some((p) => p.name === name)) return { status: 409, problem: `There is a person called ${name} already.` }
    const person: Person = { name, role, mail, siteIds, units: 'metric' }
    this.people.push(person)
    this.passwords[name] = password
    return { status: 201, json: person }
  }

  #editPerson(name: string, part: string | undefined, body: unknown): Answer {
    const person = this.people.find((p) => p.name === name)
    if (!person) return { status: 404, problem: 'There is no such person.' }
    if (part === 'password') {
      this.passwords[name] = (body as Schemas['PersonPasswordInBody']).password
      return { status: 204 }
    }
    const { role, mail, siteIds = [], disabled } = body as Schemas['EditPersonInBody']
    const operators = this.people.filter((p) => p.role === 'operator' && !p.disabled)
    if (operators.length === 1 && operators[0] === person && (role !== 'operator' || disabled)) {
      return { status: 409, problem: `${name} is the last operator; make another one first.` }
    }
    Object.assign(person, { role, mail, siteIds, disabled })
    return { json: person }
  }

  #audit(query: URLSearchParams): Answer {
    const before = Number(query.get('before') ?? Infinity)
    const lines = this.audit.filter(
      (l) => l.id < before && (!query.get('by') || l.by === query.get('by')) && (!query.get('subject') || l.to === query.get('subject')),
    )
    return { json: { lines: lines.slice(0, Number(query.get('limit') ?? 200)) } }
  }
}
