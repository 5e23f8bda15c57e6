// A tank's edge as the hub tells of it, live, and what is asked of it from here.
import { ask, Failure, server, type Edge, type EdgeRequest } from '../api/client'
import { live } from './live.svelte'
import { asked, stageWords, type Kind } from './remote'
import { session } from './session.svelte'

const notFound = 404

export class EdgeDesk {
  edge = $state.raw<Edge>()
  failed = $state<unknown>()
  /** what has become of a request, for whoever listens */
  said = $state('')
  /** the last known stage of each request made from here */
  #ours = new Map<string, EdgeRequest['stage']>()

  constructor(readonly tank: string) {}

  /** Follows until the returned function is called. */
  follow(): () => void {
    return live.hear('edge', (event) => event.tankId === this.tank && this.#take(event.edge))
  }

  async load() {
    try {
      this.#take(await ask(server.GET('/api/tanks/{tank}/edge', { params: { path: { tank: this.tank } } })))
      this.failed = undefined
    } catch (thrown) {
      if (thrown instanceof Failure && thrown.status === notFound) this.edge = undefined
      else this.failed = thrown
    }
  }

  /** Asks the edge for something; true once that is on its way. */
  async ask(kind: Kind, giveML?: number): Promise<boolean> {
    this.failed = undefined
    try {
      const request = await ask(server.POST('/api/tanks/{tank}/requests', { params: { path: { tank: this.tank } }, body: { kind, giveML } }))
      const edge = this.edge
      const streamed = edge?.requests.find((r) => r.id === request.id) // the stream may have been faster
      if (edge && !streamed) this.edge = { ...edge, requests: [request, ...edge.requests] }
      this.#tell(streamed ?? request)
      return true
    } catch (thrown) {
      this.failed = thrown
      return false
    }
  }

  #take(edge: Edge) {
    this.edge = edge
    for (const request of edge.requests) {
      if (this.#ours.has(request.id) && this.#ours.get(request.id) !== request.stage) this.#tell(request)
    }
  }

  #tell(request: EdgeRequest) {
    this.#ours.set(request.id, request.stage)
    this.said = `${asked(request, session.units)}. ${stageWords(request)}`
  }
}
