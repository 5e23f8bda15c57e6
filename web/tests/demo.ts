// The program itself with its demo fleet: real pages, real MQTT, a folder of its
// own. Built with its pages in it: see docs/pages.md.
import { spawn, type ChildProcess } from 'node:child_process'
import { existsSync } from 'node:fs'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

const program = process.env.ISOHALINE_PROGRAM ?? join(import.meta.dirname, '../../bin/isohaline')
const pollMS = 100
const startMS = 120_000 // it makes ninety days of history while it runs

export class Demo {
  private constructor(
    readonly url: string,
    private readonly child: ChildProcess,
    private readonly dir: string,
  ) {}

  static async start(): Promise<Demo> {
    if (!existsSync(program)) throw new Error(`there is no ${program}; build it, or name another in ISOHALINE_PROGRAM`)
    const dir = await mkdtemp(join(tmpdir(), 'isohaline-e2e-'))
    const child = spawn(program, ['demo', '--http', '127.0.0.1:0', '--mqtt', '127.0.0.1:0', '--edges', '127.0.0.1:0', '--dir', dir])
    let said = ''
    const url = await new Promise<string>((up, failed) => {
      const late = setTimeout(() => failed(new Error(`the demo is not up after ${startMS} ms: ${said}`)), startMS)
      const hear = (words: Buffer) => {
        said += words.toString()
        const address = /The demo runs at (\S+)/.exec(said)?.[1]
        if (!address) return
        clearTimeout(late)
        up(address)
      }
      child.stdout.on('data', hear)
      child.stderr.on('data', hear)
      child.on('exit', (code) => failed(new Error(`the demo ended with ${code}: ${said}`)))
    })
    const demo = new Demo(url, child, dir)
    await demo.#ready()
    return demo
  }

  /** Waits until every tank has its past: /readyz says so. */
  async #ready() {
    const end = Date.now() + startMS
    for (;;) {
      const answer = await fetch(`${this.url}/readyz`)
      if (answer.ok) return
      if (Date.now() > end) throw new Error(`the demo is not ready after ${startMS} ms: ${await answer.text()}`)
      await new Promise((again) => setTimeout(again, pollMS))
    }
  }

  async stop() {
    const gone = new Promise((done) => this.child.once('exit', done))
    this.child.kill('SIGTERM')
    await gone
    await rm(this.dir, { recursive: true, force: true })
  }
}
