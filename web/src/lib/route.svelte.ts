// Where a person is. The way stands behind the # so that the server has one
// page to serve and any page can be bookmarked or sent on.
export type Route =
  | { page: 'rounds' }
  | { page: 'tank'; tank: string }
  | { page: 'devices' }
  | { page: 'alarms' }
  | { page: 'design'; tank?: string }
  | { page: 'settings' }
  | { page: 'nowhere' }

/** The route of a location's hash. */
export function routeOf(hash: string): Route {
  const [page = '', ...rest] = hash.replace(/^#?\/?/, '').split('/')
  const name = rest.length === 1 && rest[0] ? decode(rest[0]) : undefined
  switch (page) {
    case '':
      return rest.length === 0 ? { page: 'rounds' } : { page: 'nowhere' }
    case 'tanks':
      return name ? { page: 'tank', tank: name } : { page: 'nowhere' }
    case 'design':
      return rest.length < 2 ? { page: 'design', tank: name } : { page: 'nowhere' }
    case 'devices':
    case 'alarms':
    case 'settings':
      return rest.length === 0 ? { page } : { page: 'nowhere' }
    default:
      return { page: 'nowhere' }
  }
}

function decode(part: string): string | undefined {
  try {
    return decodeURIComponent(part)
  } catch {
    return undefined // a stray %
  }
}

export const tankHref = (id: string) => `#/tanks/${encodeURIComponent(id)}`
export const designHref = (id: string) => `#/design/${encodeURIComponent(id)}`

class Way {
  route = $state.raw<Route>(routeOf(location.hash))

  constructor() {
    addEventListener('hashchange', () => (this.route = routeOf(location.hash)))
  }
}

export const way = new Way()
