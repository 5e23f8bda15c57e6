// What only the true program can show: a device's message over real MQTT that
// changes Rounds on the screen, and what each role sees.
import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { expect, test, type Page } from '@playwright/test'
import { Demo } from './demo'

const run = promisify(execFile)
/** Runs a line as a person would in a shell; gives its exit code. */
const shell = (line: string) => run('sh', ['-c', line]).then(() => 0, (failed: { code: number }) => failed.code)

let demo: Demo
test.describe.configure({ mode: 'serial' })
test.beforeAll(async () => {
  test.setTimeout(150_000)
  demo = await Demo.start()
})
test.afterAll(() => demo?.stop())

async function signIn(page: Page, name: string, role: string, at = '') {
  await page.goto(`${demo.url}/${at}`)
  await page.getByLabel('Name').fill(name)
  await page.getByLabel('Password').fill(`demo-${role}`)
  await page.keyboard.press('Enter')
  await expect(page.getByRole('navigation', { name: 'Pages' })).toBeVisible()
}

test('a device is connected, refused, heard, and its ceiling trip changes Rounds live', async ({ page, browser }) => {
  // One person stands at Rounds all the while.
  const rounds = await (await browser.newContext()).newPage()
  await signIn(rounds, 'mira', 'operator')
  await expect(rounds.getByRole('row', { name: /Window Nano/ })).toBeVisible() // quiet
  await rounds.evaluate(() => ((window as { notReloaded?: boolean }).notReloaded = true))

  await signIn(page, 'jonas', 'technician', '#/devices')
  await page.getByLabel('Tank').selectOption('window-nano')
  await page.getByLabel('What it is, and where').fill('Ceiling float')
  await page.getByRole('button', { name: 'Make its credentials' }).click()
  const line = (await page.getByText(/^mosquitto_pub /).textContent()) ?? ''
  expect(await shell(line)).toBe(0)

  expect(await shell(line.replace(/\[.*\]/, '[{"n":"temperature","u":"Cel","v":181}]'))).not.toBe(0)
  await expect(page.getByText(/temperature.*181.*cannot be/)).toBeVisible()
  expect(await shell(line.replace('/tern-lane/', '/quill-street/'))).not.toBe(0)
  await expect(page.getByText(/is not this device's/)).toBeVisible()

  expect(await shell(line.replace('heartbeat', 'ceiling'))).toBe(0)
  await expect(page.getByRole('listitem').filter({ hasText: 'ceiling' })).toBeVisible()
  const row = rounds.getByRole('article', { name: /Window Nano/ })
  await expect(row).toContainText('water at its ceiling level')
  expect(await rounds.evaluate(() => (window as { notReloaded?: boolean }).notReloaded)).toBe(true)

  await row.getByRole('button', { name: /^Acknowledge/ }).click()
  await expect(row).toContainText('Alarm acknowledged')
})

test('a tank is read, drawn, and measured by hand', async ({ page }) => {
  await signIn(page, 'jonas', 'technician', '#/tanks/reading-room')
  await expect(page.getByRole('img', { name: /Section: Reading Room reef/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^Ledger/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^Water temperature/ })).toBeVisible()
  await page.getByRole('button', { name: 'Salinity' }).click()
  await page.keyboard.type('34,7')
  await page.getByRole('button', { name: 'Save' }).click()
  await expect(page.getByText('Kept: salinity 34.7 PSU by refractometer.')).toBeVisible()
  await page.getByRole('button', { name: 'one hour' }).click()
  await expect(page.getByRole('listitem').filter({ hasText: /Salinity 34\.7 PSU.*jonas/ })).toBeVisible()

  // Two years of it, and the time that it takes from the tap to the drawn ledger.
  const took = await page.evaluate(async () => {
    const button = [...document.querySelectorAll('button')].find((b) => b.textContent === '2 y')
    const says = () => document.querySelector('[role=img][aria-label^=Ledger]')?.getAttribute('aria-label')
    const [before, start] = [says(), performance.now()]
    button?.click()
    while (says() === before) await new Promise(requestAnimationFrame)
    return performance.now() - start
  })
  console.log(`two years drawn in ${took.toFixed(0)} ms`)
  await page.screenshot({ path: 'test-results/demo-tank.png', fullPage: true })
})

test('a design is edited, faulted by line, and checked', async ({ page }) => {
  await signIn(page, 'jonas', 'technician', '#/design/reading-room')
  const file = page.getByLabel('Site file')
  await expect(file).toHaveValue(/salinity:/)
  const text = await file.inputValue()
  await expect(page.getByRole('img', { name: /Section: Reading Room reef/ })).toBeVisible({ timeout: 20_000 })
  await file.fill(text.replace(/salinity: .*/, 'salinity: salty'))
  const line = text.split('\n').findIndex((l) => l.includes('salinity:')) + 1
  await expect(page.getByRole('button', { name: `Line ${line}`, exact: true })).toBeVisible()
  await file.fill(text)
  await page.getByRole('button', { name: 'Run the check' }).click()
  await expect(page.getByRole('heading', { name: /ccepted$/ })).toBeVisible({ timeout: 30_000 })
  await page.screenshot({ path: 'test-results/demo-design.png', fullPage: true })
})

test('a client sees its own site and no other', async ({ page }) => {
  await signIn(page, 'hotel', 'client')
  await expect(page.getByText('2 tanks at 1 site')).toBeVisible()
  await expect(page.getByRole('link', { name: 'Devices' })).toHaveCount(0)
  await page.goto(`${demo.url}/#/tanks/reading-room`)
  await expect(page.getByRole('alert').filter({ hasText: /./ }).first()).toBeVisible()
  await expect(page.getByRole('heading', { name: 'Reading Room reef' })).toHaveCount(0)
})
