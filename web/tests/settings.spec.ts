import { expect, holds, test } from './test'

test('remembers units per person and the look per browser; the keyboard is enough', async ({ page, server }) => {
  await page.goto('/#/settings')
  await holds(page, 'settings')
  await page.emulateMedia({ colorScheme: 'light' })
  const paper = () => page.evaluate(() => getComputedStyle(document.body.parentElement ?? document.body).backgroundColor)
  expect(await paper()).toBe('rgb(248, 243, 231)')
  await page.getByRole('radio', { name: 'As the device' }).focus()
  await page.keyboard.press('ArrowRight')
  await page.keyboard.press('ArrowRight')
  await expect(page.getByRole('radio', { name: 'Dark' })).toBeChecked()
  expect(await paper()).toBe('rgb(14, 24, 38)')
  await page.reload()
  await expect.poll(paper).toBe('rgb(14, 24, 38)')

  await page.getByRole('radio', { name: 'Gallons, inches, °F' }).check({ force: true })
  await expect.poll(() => server.person?.units).toBe('us')
  await page.getByRole('link', { name: 'Rounds' }).click()
  await expect(page.getByText('volumes in US gallons')).toBeVisible()

  await page.getByRole('link', { name: 'Settings' }).click()
  await page.getByRole('button', { name: 'Sign out' }).click()
  await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible()
})

test('sets up where a sign of life goes; the address is not shown again', async ({ page, server }) => {
  await page.goto('/#/settings')
  const desk = page.getByRole('region', { name: 'A sign of life' })
  await desk.getByLabel('Call an address').check()
  await desk.getByLabel('Address', { exact: true }).fill('https://life.larkspur.example/s3cret')
  await desk.getByLabel('Every so many minutes').fill('2')
  await desk.getByLabel('Send a message once a day').check()
  await desk.getByLabel('Mail address').fill('ada@larkspur.example')
  await desk.getByRole('button', { name: 'Save the sign of life' }).click()
  await expect(desk.getByText('Kept.', { exact: true })).toBeVisible()
  expect(server.house.savedSign).toMatchObject({ url: 'https://life.larkspur.example/s3cret', method: 'GET', everyS: 120, daily: { at: '07:30', to: { channel: 'mail', address: 'ada@larkspur.example' } } })
  await expect(desk.getByText('One at life.larkspur.example is kept.')).toBeVisible()
  await expect(page.getByText('s3cret')).toHaveCount(0)
  server.house.delivered = false
  await desk.getByRole('button', { name: 'Send one now' }).click()
  await expect(desk.getByText('not taken: life.larkspur.example answered 404')).toBeVisible()
  server.house.signOfLife = { ...server.house.signOfLife, held: 'catching up, 3 of 12 tanks', failing: '2026-01-01T00:00:00Z', says: 'life.larkspur.example answered 404 Not Found' }
  await page.reload()
  await expect(desk.getByText('No sign is given now')).toBeVisible()
  await holds(page, 'settings-life')

  await desk.getByLabel('Call an address').uncheck()
  await desk.getByRole('button', { name: 'Save the sign of life' }).click()
  await expect.poll(() => server.house.savedSign?.url).toBe('')
})
