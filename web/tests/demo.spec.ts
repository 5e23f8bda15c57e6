// What only the true program can show: a device's message over real MQTT that
// changes Rounds on the screen, and what each role sees.
import { execFile } from 'node:child_process'
import { readFile } from 'node:fs/promises'
import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
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
  await page.getByLabel('Tank', { exact: true }).selectOption('window-nano')
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
  await expect(page.getByRole('img', { name: /^Salinity, as the account believes it: .* in nine cases of ten/ })).toBeVisible()
  await expect(page.getByRole('img', { name: /^Flow of the top-off pump: .* in nine cases of ten/ })).toBeVisible()
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

test('Rounds leads to the evidence', async ({ page }) => {
  await signIn(page, 'mira', 'operator')
  const worst = page.getByRole('article').first()
  const said = (await worst.locator('.sentence').textContent()) ?? ''
  expect(said).not.toBe('')
  await worst.getByRole('link', { name: /^Charts and evidence/ }).click()
  await expect(page.locator(':focus')).toContainText(said)
})

test('a table of readings is imported, the bad ones named, and exported', async ({ page }) => {
  await signIn(page, 'jonas', 'technician', '#/tanks/studio/import')
  const day = new Date(Date.now() - 3 * 86_400_000).toISOString().slice(0, 10)
  const rows = [`${day} 08:00:07;24,1`, `${day} 09:00:07;181`, `${day} 10:00:07;24,3`]
  await page.getByLabel('Or paste the rows').fill(['Time;Room temperature', ...rows].join('\n'))
  await page.getByRole('button', { name: 'Read what is pasted' }).click()
  await expect(page.getByLabel('Is, Room temperature')).toHaveValue('value')
  await expect(page.getByLabel('Of, Room temperature')).toHaveValue('room-temperature')
  await expect(page.getByText(/^Row 3, Room temperature: “181” /)).toBeVisible()
  await expect(page.getByRole('row', { name: /^2 .* Room temperature 24\.1 °C/ })).toBeVisible()
  await page.getByRole('button', { name: 'Import 2 readings' }).click()
  await expect(page.getByRole('heading', { name: '2 readings imported' })).toBeVisible({ timeout: 30_000 })
  await expect(page.getByText('One cell or row was left out:')).toBeVisible()
  await page.getByRole('link', { name: 'See them at the tank' }).click()
  await expect(page.getByRole('img', { name: /^Room temperature/ })).toBeVisible()
  const download = page.waitForEvent('download')
  await page.getByRole('link', { name: /^Every reading of this range/ }).click()
  const table = await readFile(await (await download).path(), 'utf8')
  expect(table).toMatch(/room-temperature,24\.1,/)
})

test('every question of the bench is answered, of a bucket and of a tank', async ({ page }) => {
  await signIn(page, 'jonas', 'technician', '#/bench')
  const answer = page.getByRole('region', { name: 'Answer' })
  for (const water of ['a bucket of anything', 'Reading Room reef']) {
    await page.getByLabel('Water of').selectOption(water)
    for (const [name, says] of [
      ['fresh water at once', /of fresh water .* move salinity by −\d/],
      ['new salt water, again and again', /4 changes of .* make .* of the water new/],
      ['another salinity', /35\sPSU/],
      ['this reading', /\d.*\sPSU/],
      ['several readings of one water', /The water is most likely at .*\sPSU/],
      ['lime water', /Lime water for all of .* gives .*\sdKH/],
      ['salt in a calibration fluid', /of sodium chloride in .* RO\/DI water/],
      ['water from an RO/DI unit', /\d.*\sL/],
      ['another alkalinity, calcium or magnesium', /alkalinity (from .* to .*\sdKH|is where it should be)/i],
    ] as const) {
      await page.getByRole('radio', { name }).check({ force: true })
      await expect(answer.locator('.sentence')).toContainText(says)
      await expect(answer.getByRole('alert').filter({ hasText: /./ })).toHaveCount(0)
      await expect(answer.getByRole('heading', { name: 'Where the equations are from' })).toBeVisible()
    }
  }
})

test('a design is edited by field and as text, checked, and saved', async ({ page }) => {
  await signIn(page, 'jonas', 'technician', '#/design/reading-room')
  const section = page.getByRole('img', { name: /Section: Reading Room reef/ })
  await expect(section).toBeVisible({ timeout: 20_000 })
  await page.locator('summary', { hasText: 'Display' }).click()
  const length = page.locator('[id="field-display.length"]')
  await expect(length).toHaveValue('1.2 m')
  await length.fill('long')
  await expect(length).toHaveAccessibleDescription(/“long” is not a length/)
  const before = await section.innerHTML()
  await length.fill('1300 mm')
  await expect(page.getByText('1300 mm', { exact: true })).toBeVisible({ timeout: 20_000 }) // drawn
  expect(await section.innerHTML()).not.toBe(before)
  await page.getByRole('button', { name: 'Add floor sensor' }).click()
  await expect(page.getByLabel('Trips at')).toBeVisible()
  await page.getByRole('button', { name: 'Remove floor sensor' }).click()
  await expect(page.getByRole('button', { name: 'Add floor sensor' })).toBeVisible()

  await page.getByRole('radio', { name: 'Text' }).check({ force: true })
  const file = page.getByLabel('Tank file')
  await expect(file).toHaveValue(/length: 1300 mm/)
  const text = await file.inputValue()
  await file.fill(text.replace(/salinity: .*/, 'salinity: salty'))
  const line = text.split('\n').findIndex((l) => l.includes('salinity:')) + 1
  await expect(page.getByRole('button', { name: `Line ${line}`, exact: true })).toBeVisible()
  await file.fill(text)
  await page.getByRole('button', { name: 'The whole check' }).click({ timeout: 20_000 })
  await expect(page.getByRole('heading', { name: /ccepted$/ })).toBeVisible()
  await page.getByLabel('Why this change').fill('a longer display')
  await page.getByRole('button', { name: 'Save', exact: true }).click()
  await expect(page.getByRole('row', { name: /^2 .* jonas a longer display/ })).toBeVisible({ timeout: 20_000 })
  await page.screenshot({ path: 'test-results/demo-design.png', fullPage: true })
})

test('a webhook is set up, tried and told of', async ({ page }) => {
  const heard: { body: string; token: string | undefined }[] = []
  const hook = createServer(async (request, response) => {
    let body = ''
    for await (const part of request) body += String(part)
    heard.push({ body, token: request.headers.authorization })
    response.writeHead(204).end()
  })
  await new Promise<void>((ready) => hook.listen(0, '127.0.0.1', ready))
  const address = `http://127.0.0.1:${(hook.address() as AddressInfo).port}/in/osprey-77`
  try {
    await signIn(page, 'mira', 'operator', '#/alarms/telling')
    const delivery = page.getByRole('region', { name: 'How messages are sent' })
    await delivery.getByRole('button', { name: 'Add a webhook' }).click()
    const added = delivery.getByRole('group', { name: /^Webhook [\w-]/ })
    await added.getByLabel('Name').fill('night-desk')
    await added.getByLabel('Address').fill(address)
    await added.getByLabel('Token').fill('gull-19-rope')
    await added.getByLabel('It may be on the server’s own machine or network').check()
    await delivery.getByRole('button', { name: 'Save how messages are sent' }).click()
    await expect(added).toContainText('One at 127.0.0.1')
    await added.getByRole('button', { name: 'Send a test' }).click()
    await expect(added).toContainText('The message was taken')
    expect(heard[0]?.token).toBe('Bearer gull-19-rope')
    await expect(page.getByText('osprey')).toHaveCount(0)

    const tern = page.getByRole('region', { name: 'Tern Lane' })
    await tern.getByText('Change who is told').click()
    await tern.getByRole('button', { name: 'Tell somebody of critical alarms' }).click()
    await tern.getByLabel('Who').fill('the night desk')
    await tern.getByRole('button', { name: 'Save who is told' }).click()
    await expect(tern).toContainText('At once the night desk by night-desk.')
    await page.goto(`${demo.url}/#/settings/audit`)
    await expect(page.getByText('mira').first()).toBeVisible()
    expect(await page.locator('main').innerText()).not.toMatch(/osprey|gull/)
  } finally {
    hook.closeAllConnections()
    hook.close()
  }
})

test('somebody is let in, and shut out', async ({ page, browser }) => {
  await signIn(page, 'mira', 'operator', '#/settings/people')
  await page.getByLabel('Name to sign in with').fill('cleo')
  await page.getByLabel('First password').fill('nine brass sextants')
  await page.getByRole('checkbox').first().check()
  await page.getByRole('button', { name: 'Make the account' }).click()
  await expect(page.getByText('cleo may sign in now.')).toBeVisible()

  const cleo = await (await browser.newContext()).newPage()
  const enter = async (password: string) => {
    await cleo.getByLabel('Name').fill('cleo')
    await cleo.getByLabel('Password').fill(password)
    await cleo.keyboard.press('Enter')
  }
  await cleo.goto(demo.url)
  await enter('nine brass sextants')
  await expect(cleo.getByRole('heading', { name: 'Rounds' })).toBeVisible()
  const note = page.getByRole('article', { name: 'cleo' })
  await note.getByRole('button', { name: 'New password for cleo' }).click()
  await note.getByLabel('New password for cleo').fill('six quiet lanterns')
  await note.getByRole('button', { name: 'Set the password' }).click()
  await expect(note).toContainText('other sessions have ended')
  await cleo.goto(`${demo.url}/#/alarms`)
  await enter('six quiet lanterns')
  await expect(cleo.getByRole('heading', { name: 'Alarms', level: 1 })).toBeVisible()
  await note.getByRole('button', { name: 'Disable cleo' }).click()
  await expect(note).toContainText('May not sign in')
  await cleo.reload()
  await enter('six quiet lanterns')
  await expect(cleo.getByRole('alert').filter({ hasText: /./ })).toBeVisible()
})

test('a client sees its own site and no other', async ({ page }) => {
  await signIn(page, 'hotel', 'client')
  await expect(page.getByText('2 tanks at 1 site')).toBeVisible()
  await expect(page.getByRole('link', { name: 'Devices' })).toHaveCount(0)
  await page.goto(`${demo.url}/#/tanks/reading-room`)
  await expect(page.getByRole('alert').filter({ hasText: /./ }).first()).toBeVisible()
  await expect(page.getByRole('heading', { name: 'Reading Room reef' })).toHaveCount(0)
})
