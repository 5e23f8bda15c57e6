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
  server.say('rounds', { rounds: fleet.rounds(true) })
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
