// The server, as its OpenAPI document describes it. schema.ts is made from that
// document, openapi.json, by the build and the check: `npm run generate`.
import createClient from 'openapi-fetch'
import type { components, paths } from './schema'

type Schemas = components['schemas']
export type Account = Schemas['Account']
export type Alarm = Schemas['Alarm']
export type Archive = Schemas['Archive']
export type ArchivedTank = Schemas['ArchivedTank']
export type Attempt = Schemas['Attempt']
export type AuditLine = Schemas['AuditLine']
export type Band = Schemas['Band']
export type Beliefs = Schemas['Beliefs']
export type Channel = Schemas['Channel']
export type BenchAnswer = Schemas['BenchAnswer']
export type Check = Schemas['Check']
export type Contact = Schemas['Contact']
export type Credentials = Schemas['Credentials']
export type Delivery = Schemas['Delivery']
export type Device = Schemas['Device']
export type Draft = Schemas['Draft']
export type Edge = Schemas['Edge']
export type EdgeRequest = Schemas['Request']
export type Estimate = Schemas['Estimate']
export type Evidence = Schemas['Evidence']
export type Finding = Schemas['Finding']
export type Form = Schemas['Form']
export type FormEdit = Schemas['FormEdit']
export type FormField = Schemas['FormField']
export type FormGroup = Schemas['FormGroup']
export type HandReading = Schemas['HandReading']
export type Hub = Schemas['Hub']
export type ImportChannel = Schemas['ImportChannel']
export type ImportColumn = Schemas['ImportColumn']
export type ImportMapping = Schemas['ImportMapping']
export type ImportPreview = Schemas['ImportPreview']
export type ImportProblem = Schemas['ImportProblem']
export type ImportResult = Schemas['ImportResult']
export type JoinFile = Schemas['JoinFile']
export type Known = Schemas['Known']
export type LedgerDay = Schemas['LedgerDay']
export type Measure = Schemas['Measure']
export type Notice = Schemas['Notice']
export type Odds = Schemas['Odds']
export type Person = Schemas['Person']
export type Picture = Schemas['Picture']
export type Plan = Schemas['Plan']
export type PlanPage = Schemas['PlanPage']
export type Problem = Schemas['Problem']
export type Quiet = Schemas['Quiet']
export type ReadingEvent = Schemas['ReadingEvent']
export type Recipient = Schemas['Recipient']
export type Retention = Schemas['Retention']
export type RoundRow = Schemas['RoundRow']
export type Rounds = Schemas['Rounds']
export type Route = Schemas['Route']
export type Rung = Schemas['Rung']
export type Series = Schemas['Series']
export type TankFile = Schemas['TankFile']
export type SignOfLife = Schemas['SignOfLife']
export type SiteRef = Schemas['SiteRef']
export type Tank = Schemas['Tank']
export type TankBench = Schemas['TankBench']
export type TankEvent = Schemas['TankEvent']
export type Told = Schemas['Told']
export type Tried = Schemas['Tried']
export type Version = Schemas['Version']
export type Wrong = Schemas['Wrong']

export const server = createClient<paths>({ baseUrl: '/' })

/** A request that failed, with what the server said about it. */
export class Failure extends Error {
  constructor(
    message: string,
    readonly status: number,
    readonly wrongs: Wrong[] = [],
  ) {
    super(message)
  }
}

const unreachable = 'The server does not answer. Check the connection and try again.'

/** What a request gives, or a Failure that says why not in a sentence. */
export async function ask<T>(
  request: Promise<{ data?: T; error?: Problem; response: Response }>,
): Promise<T> {
  let answer
  try {
    answer = await request
  } catch {
    throw new Failure(unreachable, 0)
  }
  if (!answer.response.ok) {
    const { error, response } = answer
    throw new Failure(
      error?.detail || `The server answers ${response.status} ${response.statusText}.`,
      response.status,
      error?.errors ?? [],
    )
  }
  return answer.data as T
}

/** The sentence for a person from whatever was thrown. */
export function sentence(thrown: unknown): string {
  if (!(thrown instanceof Error)) return String(thrown)
  if (!(thrown instanceof Failure)) return thrown.message
  const details = thrown.wrongs.map((wrong) => wrongSentence(wrong)).join(' ')
  return details ? `${thrown.message} ${details}` : thrown.message
}

/** One thing to mend: what stands where, why it is wrong, and the fix. */
export function wrongSentence({ field, value, reason, fix }: Wrong): string {
  const where = field.replace(/^body\./, '')
  const said = [where && `${where}:`, value && `“${value}”`, reason].filter(Boolean).join(' ')
  return `${said}${fix ? `; ${fix}` : ''}.`
}
