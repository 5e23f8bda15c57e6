// The fixture server: the built pages, and the fleet behind the same interface
// as the program's. One per test, on a port of its own.
import { createReadStream, existsSync, readFileSync } from 'node:fs'
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { extname, join } from 'node:path'
import type { components } from '../src/api/schema'
import type { Credentials, Device, HandReading, Person, Problem } from '../src/api/client'
import * as fleet from './fleet'
import { draftAfter, mistakesIn } from './form'
import { House } from './house'
import { answerTo, benchOf } from './water'
import { imported, partsOf, preview } from './imports'

const root = join(import.meta.dirname, '..')
const types: Record<string, string> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript',
  '.css': 'text/css',
  '.svg': 'image/svg+xml',
  '.woff2': 'font/woff2',
}

// As the program sends it: what the pages may do there, they may do here.
const policy =
  "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

type Schemas = components['schemas']
type EventName = 'reading' | 'finding' | 'alarm' | 'rounds' | 'beat'

const drawing = (format: string) =>
  readFileSync(join(root, '../internal/chart/testdata', `section-lobby-${format === 'narrow' ? 'narrow' : 'wide'}.svg`))

const testing = (format: string) => readFileSync(join(root, '../internal/chart/testdata', `testing-${format}.svg`), 'utf8')

export class FixtureServer {
  firstRun = false
  withCeiling = false
  person: Person | undefined = { name: 'ada', role: 'operator', units: 'metric', siteIds: [] }
  house = new House()
  hub: Schemas['Hub'] = { findings: [] }
  imports: Record<string, string>[] = []
  alarms = fleet.alarms()
  devices = fleet.devices()
  /** what was renamed or archived, by id */
  kept: Record<string, Schemas['Kept'] | undefined> = {}
  waterMoved: Schemas['WaterChangeInBody'][] = []
  handReadings = fleet.handReadings()
  versions = [{ version: 1, at: fleet.iso(-80 * 86_400_000), by: 'ada', note: '', text: readFileSync(join(root, '../examples/reading-room.yaml'), 'utf8') }]

  /** the live streams, and what each looks at */
  #streams = new Map<ServerResponse, string>()
  #server: Server

  private constructor() {
    this.#server = createServer((request, response) => {
      this.#answer(request, response).catch((thrown: unknown) => {
        this.#problem(response, 500, String(thrown))
      })
    })
  }

  static async start(): Promise<FixtureServer> {
    const server = new FixtureServer()
    await new Promise<void>((ready) => server.#server.listen(0, '127.0.0.1', ready))
    return server
  }

  get url(): string {
    return `http://127.0.0.1:${(this.#server.address() as AddressInfo).port}`
  }

  async stop() {
    this.#server.closeAllConnections()
    await new Promise((done) => this.#server.close(done))
  }

  /** Sends one live update to everybody who watches. */
  say(event: EventName, data: Schemas['RoundsEvent'] | Schemas['ReadingEvent'] | Schemas['AlarmEvent'] | Schemas['BeatEvent']) {
    for (const stream of this.#streams.keys()) stream.write(`event: ${event}\ndata: ${JSON.stringify(data)}\n\n`)
  }

  /** What the live streams look at now. */
  get looks(): string[] {
    return [...this.#streams.values()]
  }

  /** Cuts all live streams, as a network does. */
  cut() {
    for (const stream of this.#streams.keys()) stream.destroy()
  }

  async #answer(request: IncomingMessage, response: ServerResponse) {
    const url = new URL(request.url ?? '/', this.url)
    if (!url.pathname.startsWith('/api/')) return this.#file(url.pathname, response)
    const key = `${request.method} ${url.pathname}`
    const body = await read(request)
    if (key === 'GET /api/first-run') return this.#json(response, { needed: this.firstRun })
    if (key === 'POST /api/first-run') return this.#setUp(response, body as Schemas['SetUpInBody'])
    if (key === 'POST /api/session') return this.#signIn(response, body as Schemas['SignInInBody'])
    if (!this.person) return this.#problem(response, 401, 'Sign in first.')
    return this.#signedIn(key, url, response, body)
  }

  #setUp(response: ServerResponse, { token, name }: Schemas['SetUpInBody']) {
    if (token !== 'quiet-harbour') return this.#problem(response, 403, 'This is not the token that the program printed.')
    this.firstRun = false
    this.person = { name, role: 'operator', units: 'metric', siteIds: [] }
    return this.#json(response, this.person)
  }

  #signIn(response: ServerResponse, { name, password }: Schemas['SignInInBody']) {
    if (password !== 'four tall ships sail') return this.#problem(response, 401, 'Name or password is wrong.')
    this.person = { name, role: 'operator', units: 'metric', siteIds: [] }
    return this.#json(response, this.person)
  }

  #signedIn(key: string, url: URL, response: ServerResponse, body: unknown): unknown {
    const person = this.person as Person
    const query = (name: string) => url.searchParams.get(name) ?? ''
    const from = new Date(query('from') || 0)
    const to = new Date(query('to') || Date.now())
    switch (key) {
      case 'GET /api/session':
        return this.#json(response, person)
      case 'DELETE /api/session':
        this.person = undefined
        return response.writeHead(204).end()
      case 'PUT /api/session/units':
        person.units = (body as Schemas['UnitsInBody']).units
        return this.#json(response, person)
      case 'GET /api/live':
        response.writeHead(200, { 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store' })
        this.#streams.set(response, url.search)
        response.on('close', () => this.#streams.delete(response))
        if (query('view') === 'rounds') this.say('rounds', fleet.wholeRounds(this.withCeiling))
        return this.say('beat', { at: fleet.iso(0) })
      case 'GET /api/hub':
        return this.#json(response, this.hub)
      case 'GET /api/rounds':
        return this.#json(response, fleet.rounds(this.withCeiling))
      case 'GET /api/alarms':
        return this.#json(response, { alarms: this.alarms })
      case 'GET /api/devices':
        return this.#json(response, { devices: this.devices })
      case 'POST /api/devices':
        return this.#newDevice(response, body as Schemas['NewDeviceInBody'])
      case 'GET /api/measures':
        return this.#json(response, { measures: fleet.measures() })
      case 'GET /api/sites':
        return this.#json(response, { sites: this.#sites() })
      case 'GET /api/archive':
        return this.#json(response, this.#archive())
      case 'POST /api/drafts/odds':
        return this.#json(response, { ...fleet.odds, drawingWide: testing('wide'), drawingNarrow: testing('narrow') })
      case 'POST /api/drafts/form': {
        const { text, edits } = body as Schemas['EditDraftInBody']
        const section = drawing(query('format')).toString()
        return this.#json(response, draftAfter(text, edits, { section, check: fleet.check }))
      }
    }
    const kept = /^PUT \/api\/(?:tanks|sites)\/([^/]+)$/.exec(key)?.[1]
    if (kept) {
      this.kept[kept] = body as Schemas['Kept']
      return response.writeHead(204).end()
    }
    if (key.startsWith('POST /api/bench/')) return this.#bench(response, key.slice('POST /api/bench/'.length), body as Record<string, unknown>)
    const answer = this.house.answer(key, url.searchParams, body)
    if (answer?.problem) return this.#problem(response, answer.status ?? 422, answer.problem)
    if (answer) return answer.json === undefined ? response.writeHead(answer.status ?? 204).end() : this.#json(response, answer.json, answer.status)
    let part = /^(POST|GET|DELETE) \/api\/(alarms|devices)\/([^/]+)\/?(\w*)$/.exec(key)
    if (part?.[2] === 'alarms') return this.#alarm(response, part[3] ?? '', part[4] ?? '', body)
    if (part) return this.#device(response, part[1] ?? '', part[3] ?? '')
    part = /^(\w+) \/api\/tanks\/([^/]+)\/?(.*)$/.exec(key)
    const tank = fleet.tank(part?.[2] ?? '')
    if (!part || !tank || this.kept[tank.id]?.archived) return this.#problem(response, 404, 'There is no such tank among yours.')
    switch (`${part[1]} ${part[3]}`) {
      case 'GET ':
        return this.#json(response, { ...tank, name: this.kept[tank.id]?.name ?? tank.name })
      case 'GET section.svg':
        return this.#svg(response, query('format'))
      case 'GET channels':
        return this.#json(response, { channels: fleet.channels() })
      case 'GET series':
        return this.#json(response, fleet.series(query('channel'), from, to, Number(query('points'))))
      case 'GET bench':
        return this.#json(response, benchOf())
      case 'POST bench/hand':
        return this.#json(response, answerTo('hand', body as Record<string, unknown>))
      case 'GET beliefs':
        return this.#json(response, fleet.beliefs(from, to))
      case 'GET ledger':
        return this.#json(response, { days: fleet.ledger(from, to) })
      case 'GET events':
        return this.#json(response, { events: fleet.events(), more: false })
      case 'GET findings':
        return this.#json(response, { findings: [...tank.findings, { ...fleet.leak(), code: 'evaporation-changed', sentence: 'A heat wave raised evaporation by a fifth.', since: fleet.iso(-40 * 86_400_000), ended: fleet.iso(-31 * 86_400_000), class: 0, harmAt: undefined, evidence: [], ruledOut: [] }] })
      case 'GET hand-readings':
        return this.#json(response, { readings: this.handReadings })
      case 'POST hand-readings':
        return this.#handReading(response, body as Schemas['HandReadingInBody'])
      case 'POST refills':
      case 'POST water-changes':
        this.waterMoved.push(body as Schemas['WaterChangeInBody'])
        return response.writeHead(204).end()
      case 'POST imports/preview':
        return this.#json(response, preview(partsOf(body as string)))
      case 'POST imports':
        this.imports.push(partsOf(body as string))
        return this.#json(response, imported(partsOf(body as string)), 201)
      case 'GET file':
        return this.#json(response, this.versions[0])
      case 'PUT file':
        return this.#save(response, body as Schemas['SaveFileInBody'])
      case 'GET versions':
        return this.#json(response, { versions: this.versions })
    }
    const version = this.versions.find((v) => part[3] === `versions/${v.version}`)
    return version ? this.#json(response, version) : this.#problem(response, 404, 'There is no such page.')
  }

  #sites() {
    const named = <T extends { id: string; name: string }>(one: T): T => ({ ...one, name: this.kept[one.id]?.name ?? one.name })
    const watched = (one: { id: string }) => !this.kept[one.id]?.archived
    return sites()
      .filter(watched)
      .map((site) => ({ ...named(site), tanks: site.tanks.filter(watched).map(named) }))
  }

  #archive(): Schemas['Archive'] {
    const archived = <T extends { id: string }>(all: T[]) => all.filter((one) => this.kept[one.id]?.archived).map((one) => ({ ...one, since: fleet.iso(-86_400_000) }))
    return { sites: archived(sites()).map(({ id, name, since }) => ({ id, name, since })), tanks: archived(sites().flatMap((site) => site.tanks)) }
  }

  #handReading(response: ServerResponse, { kind, value, instrument }: Schemas['HandReadingInBody']) {
    const number = Number.parseFloat(value)
    if (kind === 'salinity' && !value.includes('SG') && (number < 5 || number > 42)) {
      return this.#problem(response, 422, 'This reading cannot be right.', [
        { field: 'body.value', value, reason: 'is outside what seawater can be', fix: 'give 5 to 42 PSU' },
      ])
    }
    const measure = fleet.measures().find((m) => m.kind === kind)
    const unit = (measure?.units[0] ?? '') as HandReading['unit']
    const title = measure?.title ?? kind
    const reading: HandReading = { at: fleet.iso(0), kind, title, value: number, unit, instrument, by: 'ada' }
    this.handReadings.unshift(reading)
    return this.#json(response, reading, 201)
  }

  #bench(response: ServerResponse, question: string, body: Record<string, unknown>) {
    const litres = body.topOffL
    if (typeof litres === 'number' && litres > 1000) {
      return this.#problem(response, 422, 'This cannot be answered.', [{ field: 'body.topOffL', value: `${litres}`, reason: 'is more than the tank holds', fix: 'give less' }])
    }
    return this.#json(response, answerTo(question, body))
  }

  #newDevice(response: ServerResponse, { tankId, name }: Schemas['NewDeviceInBody']) {
    const device: Device = { id: 'k3f9-float', name, tankId, siteId: 'larkspur-harbour', created: fleet.iso(0), edge: false, records: false, refusals: [] }
    this.devices.unshift(device)
    const credentials: Credentials = {
      device,
      clientId: device.id,
      user: device.id,
      password: 'kelp-41-violet-oar',
      topic: `larkspur-harbour/${device.id}`,
      try: `mosquitto_pub -h 127.0.0.1 -p 1883 -V mqttv5 -q 1 -i ${device.id} -u ${device.id} -P kelp-41-violet-oar -t larkspur-harbour/${device.id}/watch -m 1`,
      tryHttp: `curl -u ${device.id}:kelp-41-violet-oar -H 'Content-Type: application/senml+json' -d '[{"n":"watch","vb":true}]' http://127.0.0.1:8080/api/readings`,
    }
    return this.#json(response, credentials, 201)
  }

  #device(response: ServerResponse, method: string, id: string) {
    const device = this.devices.find((d) => d.id === id)
    if (!device) return this.#problem(response, 404, 'There is no such device.')
    if (method === 'GET') return this.#json(response, device)
    device.revoked = fleet.iso(0)
    return response.writeHead(204).end()
  }

  #alarm(response: ServerResponse, id: string, act: string, body: unknown) {
    const alarm = this.alarms.find((a) => a.id === id)
    if (!alarm) return this.#problem(response, 404, 'There is no such alarm.')
    if (act === 'acknowledge') Object.assign(alarm, { state: 'acknowledged', ackedBy: 'ada' })
    if (act === 'reset') this.alarms = this.alarms.filter((a) => a !== alarm)
    if (act === 'unshelve') Object.assign(alarm, { state: 'unacknowledged', shelvedUntil: undefined })
    if (act === 'shelve') {
      const { forS } = body as Schemas['ShelveInBody']
      Object.assign(alarm, { state: 'shelved', shelvedBy: 'ada', shelvedUntil: fleet.iso(forS * 1000) })
    }
    this.say('alarm', { alarm })
    return this.#json(response, alarm)
  }

  #save(response: ServerResponse, { text, base, note = '' }: Schemas['SaveFileInBody']) {
    const newest = this.versions[0]?.version ?? 0
    const wrongs = mistakesIn(text)
    if (wrongs.length > 0) return this.#problem(response, 422, 'The tank file has one mistake.', wrongs)
    if (base !== newest) return this.#problem(response, 409, `Version ${newest} was saved meanwhile; load it and make your change there.`)
    const saved = { version: newest + 1, at: fleet.iso(0), by: 'ada', note, text }
    this.versions.unshift(saved)
    return this.#json(response, saved)
  }

  #svg(response: ServerResponse, format: string) {
    response.writeHead(200, { 'Content-Type': 'image/svg+xml' }).end(drawing(format))
  }

  #json(response: ServerResponse, value: unknown, status = 200) {
    response.writeHead(status, { 'Content-Type': 'application/json' }).end(JSON.stringify(value))
  }

  #problem(response: ServerResponse, status: number, detail: string, errors: Problem['errors'] = []) {
    const problem: Problem = { title: 'Problem', status, detail, errors }
    response.writeHead(status, { 'Content-Type': 'application/problem+json' }).end(JSON.stringify(problem))
  }

  #file(path: string, response: ServerResponse) {
    const file = join(root, 'dist', path === '/' ? 'index.html' : path)
    if (!file.startsWith(join(root, 'dist')) || !existsSync(file)) return response.writeHead(404).end()
    response.writeHead(200, { 'Content-Type': types[extname(file)] ?? 'application/octet-stream', 'Content-Security-Policy': policy })
    return createReadStream(file).pipe(response)
  }
}

function sites() {
  const tanks = Object.values(fleet.tankRefs)
  return [...new Map(tanks.map((t) => [t.siteId, t.siteName]))].map(([id, name]) => ({
    id,
    name,
    tanks: tanks.filter((t) => t.siteId === id),
  }))
}

async function read(request: IncomingMessage): Promise<unknown> {
  const parts: Buffer[] = []
  for await (const part of request) parts.push(part as Buffer)
  const text = Buffer.concat(parts).toString()
  if (request.headers['content-type']?.startsWith('multipart/')) return text
  return text === '' ? undefined : JSON.parse(text)
}
