// Acting from afar, the whole way: page, hub, link, agent, guard and back.
import type { ChildProcess } from 'node:child_process'
import { readFile } from 'node:fs/promises'
import { expect, test, type Browser, type Page } from '@playwright/test'
import { Hub, tankFile } from './hub'
import { holds } from './test'

let hub: Hub
let agent: ChildProcess
test.describe.configure({ mode: 'serial', timeout: 300_000 })
test.use({ actionTimeout: 30_000 })
test.beforeAll(async () => {
  hub = await Hub.start()
})
test.afterAll(() => hub?.stop())

// A loaded machine takes its time over each step; the guard has pauses of its own.
const soon = { timeout: 30_000 }
const afterPauses = { timeout: 150_000 }

async function enter(page: Page, at: string, name = 'vera', password = 'four tall ships sail') {
  await page.goto(`${hub.url}/${at}`)
  await page.getByLabel('Name').fill(name)
  await page.getByLabel('Password').fill(password)
  await page.keyboard.press('Enter')
  await expect(page.getByRole('navigation', { name: 'Pages' })).toBeVisible(soon)
}

const block = (page: Page) => page.getByRole('region', { name: 'At the tank' })
const asked = (page: Page) => block(page).getByRole('listitem').filter({ hasText: 'asked by' })
const act = (page: Page, name: RegExp | string) => block(page).getByRole('button', { name })

/** The newest request comes to this, on the screen and for a screen reader. */
async function comesTo(page: Page, what: RegExp, words: RegExp, wait = soon) {
  await expect(asked(page).first()).toContainText(what, wait)
  await expect(asked(page).first()).toContainText(words, wait)
  const status = block(page).getByRole('status')
  await expect(status).toContainText(what)
  await expect(status).toContainText(words)
}

test('an edge is made, and its agent joins by the file', async ({ page }) => {
  await enter(page, '#/tanks/reef')
  await expect(page.getByRole('heading', { name: 'Reading Room reef', level: 1 })).toBeVisible(soon)
  await expect(block(page)).toHaveCount(0)
  await page.goto(`${hub.url}/#/devices`)
  await page.getByLabel('It stands beside').selectOption('reef')
  await page.getByLabel('Which computer, and where').fill('Computer under the stand')
  await page.keyboard.press('Enter')
  await expect(page.getByRole('heading', { name: 'Computer under the stand' })).toBeVisible(soon)
  await expect(page.getByText('isohaline edge reef.yaml --wiring reef-wiring.yaml --hub reef-join.yaml')).toBeVisible()
  const download = async (name: RegExp) => {
    const file = page.waitForEvent('download')
    await page.getByRole('button', { name }).click()
    const kept = await file
    return { name: kept.suggestedFilename(), text: await readFile(await kept.path(), 'utf8') }
  }
  const joins = await download(/^Download reef-join/)
  expect(joins.name).toBe('reef-join.yaml')
  expect((await download(/the design$/)).text).toBe(tankFile)
  agent = await hub.agent('reef', joins.text)
  await holds(page, 'edge-made')
  await page.getByRole('button', { name: 'I have kept it' }).click()
  await expect(page.getByText(/seed|key: S/)).toHaveCount(0)
  const note = page.getByRole('article', { name: 'Computer under the stand' })
  await expect(note).toContainText('Edge: runs the guard of')
  await holds(page, 'edge-devices')
  await note.getByRole('link', { name: 'Reading Room reef' }).click()
  await expect(block(page)).toContainText(/Heard\s*within seconds/, soon)
})

test('a proof test is started, an amount given, and a second one refused', async ({ page }) => {
  await enter(page, '#/tanks/reef')
  await expect(block(page)).toContainText('Resting: watch level wet, nothing to do.', afterPauses)

  await act(page, /^Start a proof test/).click()
  await expect(block(page)).toContainText('somebody at the tank')
  await page.keyboard.press('Escape')
  await expect(act(page, /^Start a proof test/)).toBeFocused()
  await page.keyboard.press('Enter')
  await act(page, 'They are ready: start').click()
  await comesTo(page, /Start a proof test/, /Done; the guard says: go to the tank/)
  await expect(block(page)).toContainText("Whoever is at the tank is asked now: Put the tube's end into a measuring jug.", soon)
  await expect(act(page, /^Start a proof test/)).toHaveCount(0)

  await act(page, /^Give/).click()
  const amount = block(page).getByLabel(/^How much, mL/)
  const most = Number(await amount.getAttribute('max'))
  expect(most).toBeGreaterThan(0)
  await amount.fill(String(most * 10)) // more than the stepper lets through
  await expect(act(page, new RegExp(`^Give ${most}\\s`))).toBeVisible()
  await expect(act(page, /^\+/)).toBeDisabled()
  const step = Number(await amount.getAttribute('min'))
  await amount.fill(String(step))
  await act(page, /^\+/).click()
  await expect(amount).toHaveValue(String(2 * step))
  await holds(page, 'edge-give')
  await act(page, /^Give \d/).click()
  await comesTo(page, /Give \d/, /Done; the guard says: giving a measured amount/)

  await act(page, /^Give…/).click()
  await expect(block(page)).toContainText('it would refuse', soon)
  await act(page, /^Give \d/).click()
  await comesTo(page, /Give \d/, /Refused by the guard: (pause between fills|giving a measured amount)/)
})

test('held, resumed and the valve closed, each with its confirmation', async ({ page }) => {
  await enter(page, '#/tanks/reef')
  await act(page, 'Hold').click() // the safe one needs no second word
  await comesTo(page, /Hold/, /Done; the guard says: held by a person/)
  await expect(block(page)).toContainText('Held by a person.', soon)
  await expect(act(page, 'Hold')).toHaveCount(0)
  await expect(block(page).getByRole('group', { name: 'Ask of the guard' })).toBeFocused() // the button has gone

  await act(page, /^Resume/).click()
  await act(page, 'Leave it held').click()
  await expect(act(page, /^Resume/)).toBeFocused()
  await page.keyboard.press('Enter')
  await act(page, 'Resume now').click()
  await comesTo(page, /Resume/, /Done/)
  await expect(act(page, 'Hold')).toBeVisible(soon)

  await act(page, /^Close the valve/).click()
  await expect(block(page)).toContainText('does not end by itself')
  await act(page, 'Close the valve now').click()
  await comesTo(page, /Close the valve/, /Done; the guard says: valve shut by a person/)
  await expect(block(page)).toContainText('closed by a person', soon)
  await act(page, /^Resume/).click()
  await act(page, 'Resume now').click()
  await comesTo(page, /Resume/, /Done/)
})

async function as(browser: Browser, name: string, password: string, at: string) {
  const page = await (await browser.newContext()).newPage()
  await enter(page, at, name, password)
  return page
}

test('of a latched guard: what to look at first, the horn silenced, no way to clear it', async ({ page, browser }) => {
  const { content } = await hub.post('/api/edges', { tankId: 'annex', name: 'Computer in the annex' })
  await hub.agent('annex', content, 'latched')
  await enter(page, '#/tanks/annex')
  await expect(block(page)).toContainText('Latched: fill ran to its time limit.', afterPauses)
  await expect(block(page)).toContainText('cannot be cleared from here. Look first at the reservoir and the tube', soon)
  await expect(act(page, /clear/i)).toHaveCount(0)
  await expect(act(page, /^Give/)).toHaveCount(0)
  await holds(page, 'edge-latched')
  await act(page, 'Silence the horn').click()
  await comesTo(page, /Silence the horn/, /Done/)
  await expect(block(page)).toContainText(/Horn\s*silent/, soon)
  await expect(block(page).getByRole('list', { name: 'What needs a person' })).toContainText('Fill ran to its time limit')

  // A client sees all of it, and has no buttons.
  const cleo = await as(browser, 'cleo', 'nine brass sextants', '#/tanks/annex')
  await expect(block(cleo)).toContainText('Latched: fill ran to its time limit.', soon)
  await expect(asked(cleo).first()).toContainText('Silence the horn')
  await expect(block(cleo).getByRole('button')).toHaveCount(0)
  await holds(cleo, 'edge-client')
})

test('the link is cut in the middle of a request', async ({ page }) => {
  await enter(page, '#/tanks/reef')
  await expect(act(page, 'Hold')).toBeVisible(soon)
  agent.kill('SIGSTOP') // it hears no more, and nobody knows yet
  await act(page, 'Hold').click()
  await expect(asked(page).first()).toContainText('Asked. No word from the tank yet.', soon)
  await expect(asked(page).first().getByRole('timer')).toContainText(/Good for \d+ s more/)
  agent.kill('SIGKILL')
  await expect(block(page)).toContainText('NO LINK', soon)
  await expect(block(page)).toContainText('Last known:')
  await expect(block(page)).toContainText('A proof test was under way.') // nobody is known to be asked
  await expect(act(page, /^(Give|Resume|Start)/)).toHaveCount(0) // nobody sees the tank
  await comesTo(page, /Hold/, /Unanswered\. /, { timeout: 60_000 })
  await holds(page, 'edge-no-link')
})

test('another key, and the key taken away', async ({ page }) => {
  await enter(page, '#/devices')
  const note = page.getByRole('article', { name: 'Computer in the annex' })
  await note.getByRole('button', { name: /^Another key/ }).click()
  await expect(note).toContainText('The old key is good no longer')
  await note.getByRole('button', { name: 'Give another key' }).click()
  await expect(page.getByRole('button', { name: 'Download annex-join.yaml' })).toBeVisible(soon)
  await page.getByRole('button', { name: 'I have kept it' }).click()
  await note.getByRole('button', { name: /^Take key away/ }).click()
  await note.getByRole('button', { name: 'Take away', exact: true }).click()
  await expect(note).toContainText('Key taken away', soon)
  await page.goto(`${hub.url}/#/tanks/annex`)
  await expect(page.getByRole('heading', { name: 'Annex reef', level: 1 })).toBeVisible(soon)
  await expect(block(page)).toHaveCount(0)
})
