import { expect, holds, test } from './test'

test('shows the tank cut through, the ledger, the account and why', async ({ page, server }) => {
  await page.goto('/#/tanks/lobby-reef')
  await expect(page.getByRole('heading', { name: 'Lobby reef', level: 1 })).toBeVisible()
  await expect(page.getByRole('img', { name: /Lobby reef of the Larkspur Harbour Hotel/ })).toBeVisible()
  await expect(page.getByText('Not evaporation changed:')).toBeVisible()
  await expect(page.getByText('6.2 days')).toBeVisible()
  await expect(page.getByRole('row', { name: /Ceiling level dry/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^Ledger\. .* above what was expected/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^Salinity, as the account believes it: 34\.1 PSU last, between 33\.\d PSU and 34\.\d PSU in nine cases of ten/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^Flow of the top-off pump: 0\.61\d? L\/min last/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^How long the reservoir was to last: .* days last, between .* in nine cases of ten/ })).toBeVisible()
  await expect(page.getByText(/^empty between \w{3},? \d+ \w{3} and/)).toBeVisible()
  expect(server.person?.name).toBe('ada')
  await holds(page, 'tank')
})

test('leads from Rounds and from an alarm to the finding, and back', async ({ page }) => {
  await page.goto('/')
  await page.getByRole('link', { name: 'Charts and evidence of Lobby reef' }).click()
  const leak = page.getByRole('article', { name: 'Tank water leaking' })
  await expect(leak).toBeFocused()
  await expect(leak).toBeInViewport()
  await expect(page.getByRole('button', { name: 'one week' })).toHaveAttribute('aria-pressed', 'true') // it began 3.3 days ago
  await leak.getByRole('link', { name: 'Alarms' }).click()
  await page.getByRole('article', { name: 'Tank water leaking' }).getByRole('link', { name: 'Evidence' }).click()
  await expect(leak).toBeFocused()
  await leak.getByRole('link', { name: 'Rounds' }).click()
  await page.getByRole('link', { name: /The top-off pump gives 0.61/ }).click()
  await expect(page.getByRole('article', { name: 'Pump weakening' })).toBeFocused()
  await expect(page.getByRole('button', { name: 'one month' })).toHaveAttribute('aria-pressed', 'true')
  await page.goto('/#/tanks/lobby-reef/findings/ceiling-wet')
  await expect(page.getByText('“ceiling level wet” is not among what goes on here now')).toBeVisible()
})

test('draws every range from an hour to two years', async ({ page }) => {
  await page.goto('/#/tanks/lobby-reef')
  await expect(page.getByRole('img', { name: /^Ledger/ })).toBeVisible()
  const asked: number[] = []
  page.on('request', (request) => {
    const url = new URL(request.url())
    if (!url.pathname.endsWith('/events')) return
    asked.push(Date.parse(url.searchParams.get('to') ?? '') - Date.parse(url.searchParams.get('from') ?? ''))
  })
  for (const name of ['one hour', 'two years']) {
    await page.getByRole('button', { name, exact: true }).click()
    await expect(page.getByRole('button', { name, exact: true })).toHaveAttribute('aria-pressed', 'true')
    await expect(page.getByRole('img', { name: /^Ledger/ })).toBeVisible()
  }
  await expect.poll(() => asked.map((ms) => ms / 3_600_000)).toEqual([1, 730 * 24])
  await page.getByText('The ledger as a table').click()
  await expect(page.getByRole('rowheader').first()).toBeVisible()
})

test('keeps a hand reading in two taps, and says why one cannot be', async ({ page, server }) => {
  await page.goto('/#/tanks/lobby-reef')
  await page.getByRole('button', { name: 'Salinity' }).click()
  await page.keyboard.type('350') // the field has the focus
  await page.getByRole('button', { name: 'Save' }).click()
  await expect(page.getByRole('alert').filter({ hasText: 'give 5 to 42 PSU' })).toBeVisible()
  await page.getByLabel('Salinity', { exact: true }).fill('34,6')
  await page.getByLabel('Instrument').selectOption('conductivity meter')
  await page.getByRole('button', { name: 'Save' }).click()
  await expect(page.getByText('Kept: salinity 34.6 PSU by conductivity meter.')).toBeVisible()
  expect(server.handReadings[0]).toMatchObject({ value: 34.6, instrument: 'conductivity meter' })
  await page.getByRole('button', { name: 'Salinity' }).click()
  await expect(page.getByLabel('Instrument')).toHaveValue('conductivity meter') // remembered
})

test('writes down a water change, in the units of the person', async ({ page, server }) => {
  if (server.person) server.person.units = 'us'
  await page.goto('/#/tanks/lobby-reef')
  await page.getByRole('button', { name: 'Water changed' }).click()
  await page.keyboard.type('10')
  await page.getByLabel('Salinity of the new water, PSU').fill('35,2')
  await page.getByRole('button', { name: 'Save' }).click()
  await expect(page.getByText('Kept: 10.0 gal changed.')).toBeVisible()
  expect(server.waterMoved[0]?.litres).toBeCloseTo(37.854, 3)
  expect(server.waterMoved[0]?.salinityPSU).toBe(35.2)
})

test('follows what the sensors say', async ({ page, server }) => {
  await page.goto('/#/tanks/lobby-reef')
  await expect(page.getByRole('row', { name: /Ceiling level dry/ })).toBeVisible()
  await expect.poll(() => server.looks).toEqual(['?tank=lobby-reef'])
  const again = page.waitForRequest((request) => request.url().endsWith('/api/tanks/lobby-reef'))
  server.say('reading', { tankId: 'lobby-reef', channel: 'ceiling', value: 1, atS: Date.now() / 1000 })
  await again
})
