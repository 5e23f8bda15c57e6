// The program as a hub, empty, and agents beside it as processes of their own with
// simulated tanks: what a person asks from afar goes the whole way. The fixture
// server could only tell what it was told.
import { spawn, type ChildProcess } from 'node:child_process'
import { existsSync, readFileSync } from 'node:fs'
import { chmod, mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { request, type APIRequestContext } from '@playwright/test'

const program = process.env.ISOHALINE_PROGRAM ?? join(import.meta.dirname, '../../bin/isohaline')
const startMS = 60_000

/** Pauses long enough to be met by a test, and no longer. */
const pauses = 'controller: {restart settle: 10 s, minimum off: 45 s} '
export const tankFile = readFileSync(join(import.meta.dirname, '../../examples/reading-room.yaml'), 'utf8').replace('controller: {} ', pauses)

/** What a guard that has run to its time limit saves, and finds when it starts. */
const runLimit = 9
const latched = JSON.stringify({ version: 1, at: new Date(), state: { guard: { Phase: 5, Latch: runLimit }, ledger: { last_seq: 0 } } })

async function started(child: ChildProcess, what: string, up: RegExp): Promise<RegExpExecArray> {
  let said = ''
  return new Promise((ready, failed) => {
    const late = setTimeout(() => failed(new Error(`${what} is not up after ${startMS} ms: ${said}`)), startMS)
    const hear = (words: Buffer) => {
      said += words.toString()
      const found = up.exec(said)
      if (!found) return
      clearTimeout(late)
      ready(found)
    }
    child.stdout?.on('data', hear)
    child.stderr?.on('data', hear)
    child.on('exit', (code) => failed(new Error(`${what} ended with ${code}: ${said}`)))
  })
}

async function ended(child: ChildProcess, signal: NodeJS.Signals) {
  if (child.exitCode !== null || child.signalCode !== null) return
  const gone = new Promise((done) => child.once('exit', done))
  child.kill(signal)
  await gone
}

export class Hub {
  #agents: ChildProcess[] = []

  private constructor(
    readonly url: string,
    readonly api: APIRequestContext,
    private readonly child: ChildProcess,
    private readonly dir: string,
  ) {}

  /** An operator, vera, and a client, cleo; two tanks of one site. */
  static async start(): Promise<Hub> {
    if (!existsSync(program)) throw new Error(`there is no ${program}; build it, or name another in ISOHALINE_PROGRAM`)
    const dir = await mkdtemp(join(tmpdir(), 'isohaline-hub-'))
    const child = spawn(program, ['serve', '--http', '127.0.0.1:0', '--mqtt', '127.0.0.1:0', '--edges', '127.0.0.1:0', '--dir', join(dir, 'hub')])
    const [, url = '', token = ''] = await started(child, 'the hub', /Pages: (\S+)[\s\S]*with this token:\s+(\S+)\s/)
    const hub = new Hub(url, await request.newContext({ baseURL: url }), child, dir)
    await hub.post('/api/first-run', { token, name: 'vera', password: 'four tall ships sail' })
    await hub.post('/api/tanks', { siteId: 'library', siteName: 'Library', tankId: 'reef', file: tankFile })
    await hub.post('/api/tanks', { siteId: 'library', tankId: 'annex', file: tankFile.replace('Reading Room reef', 'Annex reef') })
    await hub.post('/api/people', { name: 'cleo', role: 'client', password: 'nine brass sextants', siteIds: ['library'] })
    return hub
  }

  async post(path: string, data: unknown) {
    const answer = await this.api.post(path, { data })
    if (!answer.ok()) throw new Error(`${path}: ${answer.status()} ${await answer.text()}`)
    return answer.json().catch(() => undefined)
  }

  /** Runs an agent by a join file's text, on a tank that is well or latched. */
  async agent(name: string, joinFile: string, how: 'well' | 'latched' = 'well'): Promise<ChildProcess> {
    const dir = join(this.dir, name)
    await mkdir(dir, { mode: 0o700 })
    const [site, file] = [join(this.dir, `${name}.yaml`), join(this.dir, `${name}-join.yaml`)]
    await writeFile(site, tankFile)
    await writeFile(file, joinFile)
    await chmod(file, 0o600)
    if (how === 'latched') await writeFile(join(dir, 'state.json'), latched)
    const child = spawn(program, ['edge', site, '--simulate', '--hub', file, '--page', '127.0.0.1:0', '--data', dir])
    this.#agents.push(child)
    await started(child, `the agent of ${name}`, /The guard of .* runs\./)
    return child
  }

  async stop() {
    await Promise.all(this.#agents.map((agent) => ended(agent, 'SIGKILL')))
    await this.api.dispose()
    await ended(this.child, 'SIGTERM')
    await rm(this.dir, { recursive: true, force: true })
  }
}
