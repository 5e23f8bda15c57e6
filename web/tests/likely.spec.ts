import { expect, holds, test } from './test'

test('says how likely the harm is, as an estimate with its band, and what the proof test buys', async ({ page }) => {
  await page.goto('/#/design/reading-room')
  await page.getByRole('button', { name: 'The whole check' }).click()
  const likely = page.getByRole('region', { name: 'How likely' })
  await expect(likely).toContainText('They are no certificate and no promise.')
  await expect(likely).toContainText(/Animals at risk or a wet floor\s*once in 59 years\s*90 % of what is believed: 28 to 210 years/)
  await expect(likely).toContainText('not found possible')
  await expect(likely.getByRole('img', { name: /What the proof test buys/ })).toBeVisible()
  await expect(likely.getByRole('listitem').first()).toContainText('30 % of it.')
  await likely.scrollIntoViewIfNeeded()
  await holds(page, 'likely')
})

test('says why there are no odds, and what failed', async ({ page }) => {
  const refused = 'No odds for this design: it does harm with nothing wrong, so there is no counting how often; mend the design first, as the check says.'
  const nothing = { lead: [], harms: [], dominating: [], testing: '', intervalDays: 0, kneeDays: 0, floorPerYear: 0, skipFactor: 0, curve: [], drawingWide: '', drawingNarrow: '', notes: [], inherentlySafe: false }
  let away = true
  await page.route('**/api/drafts/odds', (route) => (away ? route.abort() : route.fulfill({ json: { ...nothing, refused } })))
  await page.goto('/#/design/reading-room')
  await page.getByRole('button', { name: 'The whole check' }).click()
  await expect(page.getByRole('alert').filter({ hasText: 'The server does not answer' })).toBeVisible()
  away = false
  await page.getByRole('button', { name: 'Work it out for this draft' }).click()
  await expect(page.getByText(refused)).toBeVisible()
})
