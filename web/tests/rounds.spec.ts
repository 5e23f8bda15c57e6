import * as fleet from './fleet'
import { expect, holds, test } from './test'

test('says who needs a person, worst first, and changes without a reload', async ({ page, server }) => {
  await page.goto('/')
  await expect(page.getByRole('heading', { name: '3 tanks need a person' })).toBeVisible()
  const rows = page.getByRole('article')
  await expect(rows).toHaveCount(3)
  await expect(rows.nth(0)).toContainText('The reservoir of the Reading Room reef will be empty on Saturday')
  await expect(rows.nth(0)).toContainText('83 % sure')
  await expect(rows.nth(0)).toContainText('Animals at risk or a wet floor in about 4 days')
  await expect(page.getByRole('row', { name: /Pump House lagoon/ })).toBeVisible() // quiet, so far

  server.withCeiling = true
  await expect.poll(() => server.looks).toEqual(['?view=rounds'])
  const { needPerson } = fleet.rounds(true)
  server.say('rounds', {
    at: fleet.iso(0),
    whole: false,
    needPerson: needPerson.filter((row) => row.tank.name === 'Pump House lagoon'),
    quiet: [],
    gone: [],
    order: needPerson.map((row) => row.tank.id),
  })
  await expect(rows).toHaveCount(4)
  await expect(rows.nth(0)).toContainText('Water stands at the ceiling level')
  await expect(page).toHaveTitle('(4) Rounds · Isohaline')
  await expect(page.locator('[aria-live=polite]').first()).toContainText('Pump House lagoon needs a person')
  await holds(page, 'rounds')
})

test('acknowledges an alarm from its row', async ({ page, server }) => {
  await page.goto('/')
  await page.getByRole('button', { name: 'Acknowledge about Lobby reef' }).click()
  await expect.poll(() => server.alarms.find((a) => a.id === 'lobby-reef-leak')?.ackedBy).toBe('ada')
})

test('says so when it is not live', async ({ page, server }) => {
  await page.goto('/')
  await expect(page.getByRole('article').first()).toBeVisible()
  await page.context().setOffline(true)
  server.cut()
  await expect(page.getByText(/Not live since/)).toBeVisible()
  await page.context().setOffline(false)
  await expect(page.getByText(/Not live since/)).toBeHidden({ timeout: 15_000 })
})

test('speaks US units to those who want them', async ({ page, server }) => {
  if (server.person) server.person.units = 'us'
  await page.goto('/')
  await expect(page.getByText('drinking 0.555 ± 0.079 gal a day more')).toBeVisible()
})

test('a client looks and changes nothing', async ({ page, server }) => {
  server.person = { name: 'cli', role: 'client', units: 'metric', siteIds: ['larkspur-harbour'] }
  await page.goto('/')
  await expect(page.getByRole('article').first()).toBeVisible()
  await expect(page.getByRole('button', { name: /Acknowledge/ })).toHaveCount(0)
  await expect(page.getByRole('link', { name: 'Devices' })).toHaveCount(0)
})

test('says what is wrong with the service itself, and how far a start is', async ({ page, server }) => {
  server.hub = {
    catchingUp: { done: 3, total: 12, words: 'catching up, 3 of 12 tanks' },
    findings: [
      {
        code: 'store-fails',
        urgency: 'now',
        since: fleet.iso(-600_000),
        sentence: 'The store does not take what is written to it (database or disk is full). Readings wait in the log, and no alarm is raised meanwhile.',
        do: 'Make room on the disk, and look whether it is mounted read-only or failing; nothing that was acknowledged is lost.',
      },
      {
        code: 'tank-not-watched',
        urgency: 'now',
        tankId: 'lobby-reef',
        since: fleet.iso(-7_200_000),
        sentence: 'Nothing watches Lobby reef: it could not be taken up (display.height: is missing). Its readings are kept.',
        do: 'Mend its tank file under Design and save it; the service then goes on by it.',
      },
      { code: 'was-away', urgency: 'in time', since: fleet.iso(-3_600_000), sentence: 'The service did not run for 3 h.', do: 'Find out why it ended.' },
    ],
  }
  await page.goto('/')
  await expect(page.getByText('Catching up, 3 of 12 tanks.')).toBeVisible()
  const itself = page.getByRole('region', { name: 'The service itself' })
  await expect(itself.getByRole('listitem')).toHaveCount(3)
  await expect(itself.getByRole('listitem').first()).toContainText('Look now')
  await expect(itself.getByRole('link', { name: 'Its tank file' })).toHaveAttribute('href', '#/design/lobby-reef')
  await holds(page, 'rounds-hub')

  // More tanks are taken up: the list is asked for again by itself.
  server.withCeiling = true
  server.hub = { findings: [] }
  await expect(page.getByText('Catching up')).toBeHidden()
  await expect(itself).toBeHidden()
  await expect(page.getByRole('heading', { name: '4 tanks need a person' })).toBeVisible()
})
