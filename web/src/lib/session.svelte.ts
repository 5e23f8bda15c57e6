// Who is signed in here, and what that person may do.
import { ask, Failure, server, type Person } from '../api/client'
import type { Units } from './units'

type Phase = 'asking' | 'first-run' | 'signed-out' | 'signed-in' | 'unreachable'

const unauthorized = 401

class Session {
  phase = $state<Phase>('asking')
  person = $state<Person>()

  get units(): Units {
    return this.person?.units ?? 'metric'
  }

  /** Technicians and operators change things; clients look. */
  get mayChange(): boolean {
    return this.person !== undefined && this.person.role !== 'client'
  }

  /** Asks the server who this is. A server that is away throws nobody out. */
  async load() {
    try {
      this.enter(await ask(server.GET('/api/session')))
    } catch (thrown) {
      if (!(thrown instanceof Failure) || thrown.status !== unauthorized) {
        if (this.phase !== 'signed-in') this.phase = 'unreachable'
        return
      }
      const { needed } = await ask(server.GET('/api/first-run')).catch(() => ({ needed: false }))
      this.phase = needed ? 'first-run' : 'signed-out'
    }
  }

  enter(person: Person) {
    this.person = person
    this.phase = 'signed-in'
  }

  leave() {
    this.person = undefined
    this.phase = 'signed-out'
  }

  async signOut() {
    await ask(server.DELETE('/api/session'))
    this.leave()
  }

  async setUnits(units: Units) {
    this.person = await ask(server.PUT('/api/session/units', { body: { units } }))
  }
}

export const session = new Session()

// A session that has ended shows the way back in, wherever it is noticed.
server.use({
  onResponse({ response }) {
    if (response.status === unauthorized && session.phase === 'signed-in') session.leave()
  },
})
