// Where a person is. The way stands behind the # so that the server has one
// page to serve and any page can be bookmarked or sent on.
export type Route =
  | { page: 'rounds' }
  | { page: 'tank'; tank: string; finding?: string }
  | { page: 'import'; tank: string }
  | { page: 'alarms' }
  | { page: 'telling' }
  | { page: 'devices' }
  | { page: 'design'; tank?: string }
  | { page: 'bench'; tank?: string }
  | { page: 'settings' }
  | { page: 'people' }
  | { page: 'audit' }
  | { page: 'nowhere' }

const nowhere: Route = { page: 'nowhere' }

// Pages without a part, by their way; below Alarms and Settings stand pages of
// their own.
const plain: Record<string, Route> = {
  '': { page: 'rounds' },
  alarms: { page: 'alarms' },
  'alarms/telling': { page: 'telling' },
  devices: { page: 'devices' },
  design: { page: 'design' },
  bench: { page: 'bench' },
  settings: { page: 'settings' },
  'settings/people': { page: 'people' },
  'settings/audit': { page: 'audit' },
}

/** The route of a location's hash. */
export function routeOf(hash: string): Route {
  const way = hash.replace(/^#?\/?/, '')
  if (Object.hasOwn(plain, way)) return plain[way] ?? nowhere
  const [page, ...parts] = way.split('/')
  const [tank, kind, finding, ...rest] = parts.map(decode)
  if (!tank || rest.length > 0) return nowhere
  if ((page === 'design' || page === 'bench') && parts.length === 1) return { page, tank }
  if (page !== 'tanks') return nowhere
  if (parts.length === 1) return { page: 'tank', tank }
  if (kind === 'import' && parts.length === 2) return { page: 'import', tank }
  return kind === 'findings' && finding ? { page: 'tank', tank, finding } : nowhere
}

function decode(part: string): string | undefined {
  try {
    return decodeURIComponent(part)
  } catch {
    return undefined // a stray %
  }
}

export const tankHref = (id: string) => `#/tanks/${encodeURIComponent(id)}`
export const findingHref = (id: string, code: string) => `${tankHref(id)}/findings/${encodeURIComponent(code)}`
export const importHref = (id: string) => `${tankHref(id)}/import`
export const benchHref = (id: string) => (id ? `#/bench/${encodeURIComponent(id)}` : '#/bench')
export const designHref = (id: string) => `#/design/${encodeURIComponent(id)}`

class Way {
  route = $state.raw<Route>(routeOf(location.hash))

  constructor() {
    addEventListener('hashchange', () => (this.route = routeOf(location.hash)))
  }
}

export const way = new Way()

/** The page of the bar at the top that a route belongs to. */
export const placeOf = ({ page }: Route): string =>
  ({ telling: 'alarms', people: 'settings', audit: 'settings' })[page as string] ?? page
