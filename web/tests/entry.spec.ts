import { expect, holds, test } from './test'

test('first run makes the first account', async ({ page, server }) => {
  server.person = undefined
  server.firstRun = true
  await page.goto('/')
  await expect(page.getByRole('heading', { name: 'First run' })).toBeVisible()
  await page.getByLabel('Token').fill('wrong')
  await page.getByLabel('Name').fill('ada')
  await page.getByLabel('Password').fill('four tall ships sail')
  await page.keyboard.press('Enter')
  await expect(page.getByRole('alert')).toContainText('not the token')
  await holds(page, 'first-run')
  await page.getByLabel('Token').fill('quiet-harbour')
  await page.keyboard.press('Enter')
  await expect(page.getByRole('heading', { name: 'Rounds' })).toBeVisible()
})

test('sign in, to the page that was asked for', async ({ page, server }) => {
  server.person = undefined
  await page.goto('/#/alarms')
  await page.getByLabel('Name').fill('ada')
  await page.getByLabel('Password').fill('wrong')
  await page.keyboard.press('Enter')
  await expect(page.getByRole('alert')).toContainText('Name or password is wrong')
  await holds(page, 'sign-in')
  await page.getByLabel('Password').fill('four tall ships sail')
  await page.keyboard.press('Enter')
  await expect(page.getByRole('heading', { name: 'Alarms', level: 1 })).toBeVisible()
})

test('a session that ends shows the way back in', async ({ page, server }) => {
  await page.goto('/')
  await expect(page.getByRole('article').first()).toBeVisible()
  server.person = undefined
  await page.goto('/#/tanks/lobby-reef')
  await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible()
})
