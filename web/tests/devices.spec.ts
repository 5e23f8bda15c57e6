import * as fleet from './fleet'
import { expect, holds, test } from './test'

test('connects a device: credentials once, its line, its first reading, its refusals', async ({ page, server }) => {
  await page.goto('/#/devices')
  const stick = page.getByRole('article', { name: 'Temperature stick' })
  await expect(stick.getByRole('listitem')).toContainText(/Out of range\. temperature: 181 °C is above 50 °C; send degrees Celsius\s+14 times, last 2 hours ago, on linden-row/)
  const records = page.getByRole('article', { name: 'Imported records' })
  await expect(records.getByRole('link', { name: 'Import more into Lobby reef' })).toBeVisible()
  await expect(records.getByRole('button')).toHaveCount(0) // no credentials to take away
  await holds(page, 'devices')
  await page.getByLabel('Tank', { exact: true }).selectOption('breakfast-room')
  await page.getByLabel('What it is, and where').fill('Float under the buffet')
  await page.keyboard.press('Enter')
  await expect(page.getByRole('heading', { name: 'Float under the buffet' })).toBeVisible()
  await expect(page.getByText('kelp-41-violet-oar', { exact: true })).toBeVisible()
  await expect(page.getByText(/^mosquitto_pub .*-t larkspur-harbour\/k3f9-float\/watch -m 1$/)).toBeVisible()
  await expect(page.getByText('Listening.')).toBeVisible()

  await expect.poll(() => server.looks).toContain('?tank=breakfast-room')
  server.say('reading', { tankId: 'breakfast-room', channel: 'watch', value: 1, atS: Date.now() / 1000 })
  await expect(page.getByRole('listitem').filter({ hasText: 'watch' })).toBeVisible()
  server.devices[0]?.refusals.push({ at: fleet.iso(0), topic: 'weir-lane/x/watch', reason: 'not-yours', words: 'weir-lane is not its site', count: 1 })
  await expect(page.getByText('weir-lane is not its site')).toBeVisible()
  await holds(page, 'device-made')

  await page.getByRole('button', { name: 'I have kept them' }).click()
  await expect(page.getByText('kelp-41-violet-oar')).toHaveCount(0)
  await page.getByRole('button', { name: 'Take credentials away from Float under the buffet' }).click()
  await page.getByRole('button', { name: 'Take away', exact: true }).click()
  await expect(page.getByText(/Credentials taken away/)).toBeVisible()
})
