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
  await expect(page.getByRole('radio', { name: 'Night watch' })).toBeChecked()
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
