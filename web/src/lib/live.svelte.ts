// Live updates: one stream of server-sent events, of what the page looks at.
import type { components } from '../api/schema'
import { session } from './session.svelte'

type Schemas = components['schemas']

interface Events {
  reading: Schemas['ReadingEvent']
  finding: Schemas['FindingEvent']
  alarm: Schemas['AlarmEvent']
  rounds: Schemas['RoundsEvent']
  edge: Schemas['EdgeEvent']
  beat: Schemas['BeatEvent']
}

/** What a page looks at; it hears of nothing else, but beats when the stream opens and every minute. */
type Look = { tank: string } | { view: 'rounds' | 'alarms' }

type Listener<K extends keyof Events> = (event: Events[K]) => void

const retryMS = 5_000
/** how long the stream stays as it is after a page has gone: the next may look at something */
const lingerMS = 1_000

class Live {
  /** since when the stream is down; undefined while it is up */
  downSince = $state<Date>()
  #source: EventSource | undefined
  #on = false
  /** what is to be looked at, and what the stream brings, as the server is asked for it */
  #look = ''
  #brings = ''
  #page = 0
  #retry: ReturnType<typeof setTimeout> | undefined
  #listeners: { [K in keyof Events]: Set<Listener<K>> } = {
    reading: new Set(),
    finding: new Set(),
    alarm: new Set(),
    rounds: new Set(),
    edge: new Set(),
    beat: new Set(),
  }

  open() {
    this.close()
    this.#on = true
    this.#brings = this.#look
    const source = new EventSource(`/api/live${this.#brings}`)
    source.onopen = () => (this.downSince = undefined)
    source.onerror = () => {
      this.downSince ??= new Date()
      // The browser tries again by itself unless the server refused the stream.
      if (source.readyState === EventSource.CLOSED) this.#tryLater()
    }
    for (const name of Object.keys(this.#listeners) as (keyof Events)[]) {
      source.addEventListener(name, (message) => this.#tell(name, message))
    }
    this.#source = source
  }

  close() {
    this.#on = false
    clearTimeout(this.#retry)
    this.#source?.close()
    this.#source = undefined
  }

  /** Looks at something, instead of what was looked at before, until the returned function is called. */
  look(at: Look): () => void {
    const page = ++this.#page
    this.#look = `?${new URLSearchParams({ ...at })}`
    this.#turn()
    return () => {
      if (page !== this.#page) return // the next page looks already
      this.#look = ''
      setTimeout(() => this.#turn(), lingerMS)
    }
  }

  #turn() {
    if (this.#on && this.#brings !== this.#look) this.open()
  }

  /** Hears one kind of event until the returned function is called. */
  hear<K extends keyof Events>(name: K, listener: Listener<K>): () => void {
    this.#listeners[name].add(listener)
    return () => this.#listeners[name].delete(listener)
  }

  #tell<K extends keyof Events>(name: K, message: MessageEvent<string>) {
    const event = JSON.parse(message.data) as Events[K]
    for (const listener of this.#listeners[name]) listener(event)
  }

  #tryLater() {
    clearTimeout(this.#retry)
    this.#retry = setTimeout(async () => {
      await session.load() // the session may have ended; that closes the stream
      if (session.phase === 'signed-in') this.open()
    }, retryMS)
  }
}

export const live = new Live()

/** Calls act now and then, at most once per interval, however often asked. */
export function atMostEvery(ms: number, act: () => void): { ask: () => void; stop: () => void } {
  let waiting: ReturnType<typeof setTimeout> | undefined
  return {
    ask() {
      waiting ??= setTimeout(() => {
        waiting = undefined
        act()
      }, ms)
    },
    stop() {
      clearTimeout(waiting)
      waiting = undefined
    },
  }
}
