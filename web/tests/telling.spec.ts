import { expect, holds, test } from './test'

test('says who is told, and lets somebody change it; a test message shows what came of it', async ({ page, server }) => {
  await page.goto('/#/alarms')
  await page.getByRole('link', { name: 'Who is told, and who was' }).click()
  const harbour = page.getByRole('region', { name: 'Larkspur Harbour Hotel' })
  await expect(harbour).toContainText('At once ada by mail; after 15 minutes bo by night-desk; begun 3 times, 60 minutes apart.')
  await expect(page.getByRole('region', { name: 'Hollow Oak School' })).toContainText('Nobody is told of alarms here.')
  await expect(page.getByRole('link', { name: 'Alarms', exact: true })).toHaveAttribute('aria-current', 'page')

  await harbour.getByText('Change who is told').click()
  const high = harbour.getByRole('group', { name: 'High alarms', exact: true })
  await high.getByRole('button', { name: 'And if nobody acknowledges…' }).click()
  await expect(high.getByLabel('Minutes after the call, rung 2')).toHaveValue('15')
  await high.getByRole('group', { name: 'Contact 1 of rung 2' }).getByLabel('Who').fill('bo')
  await high.getByRole('group', { name: 'Contact 1 of rung 2' }).getByLabel('Who').blur()
  await expect(high.getByRole('group', { name: 'Contact 1 of rung 2' }).getByLabel('Mail address')).toHaveValue('bo@larkspur.example') // known
  await high.getByRole('button', { name: 'Send a test to bo' }).click()
  await expect(high.getByText(/The message was taken; see whether it arrives/)).toBeVisible()
  expect(server.house.tested[0]).toEqual({ siteId: 'larkspur-harbour', contact: { person: 'bo', channel: 'mail', address: 'bo@larkspur.example' } })
  server.house.delivered = false
  await high.getByRole('button', { name: 'Send a test to bo' }).click()
  await expect(high.getByText(/not delivered: mail.larkspur.example:587 does not accept the password/)).toBeVisible()
  await holds(page, 'telling')

  await high.getByLabel('Minutes after the call, rung 2').fill('0')
  await harbour.getByRole('button', { name: 'Save who is told' }).click()
  await expect(harbour.getByRole('alert').filter({ hasText: 'not after that of the rung before it' })).toBeVisible()
  await high.getByLabel('Minutes after the call, rung 2').fill('30')
  await harbour.getByRole('button', { name: 'Save who is told' }).click()
  await expect(harbour.getByText('Kept.')).toBeVisible()
  await expect(harbour).toContainText('At once ada by mail; after 30 minutes bo by mail.')
  expect(server.house.plans['larkspur-harbour']?.high.rungs[1]?.waitS).toBe(1800)
})

test('sets the mail server and webhooks up; secrets go in and are not shown', async ({ page, server }) => {
  await page.goto('/#/alarms/telling')
  const delivery = page.getByRole('region', { name: 'How messages are sent' })
  await expect(delivery.getByLabel('Password')).toHaveValue('')
  await expect(delivery.getByLabel('Password')).toHaveAccessibleDescription('One is kept. Left empty, it stays.')
  await delivery.getByLabel('From').fill('watch@larkspur.example')
  await delivery.getByRole('button', { name: 'Add a webhook' }).click()
  const added = delivery.getByRole('group', { name: 'Webhook 2' })
  await added.getByLabel('Name').fill('pager')
  const pager = delivery.getByRole('group', { name: 'Webhook pager' })
  await pager.getByLabel('Address').fill('https://pager.example/t/7c1e-secret')
  await pager.getByLabel('Token').fill('gull-19-rope')
  await delivery.getByRole('button', { name: 'Save how messages are sent' }).click()
  await expect(delivery.getByText('Kept. Send a test')).toBeVisible()
  expect(server.house.savedDelivery).toEqual({
    mail: { host: 'mail.larkspur.example', port: 587, security: 'starttls', user: 'alarms', from: 'watch@larkspur.example' }, // no password: the kept one stays
    webhooks: [
      { name: 'night-desk', inside: false },
      { name: 'pager', url: 'https://pager.example/t/7c1e-secret', token: 'gull-19-rope', inside: false },
    ],
  })
  await expect(pager).toContainText('One at pager.example is kept.')
  await expect(page.getByText('secret')).toHaveCount(0)
  expect(await page.locator('input').evaluateAll((inputs) => inputs.map((i) => (i as HTMLInputElement).value).join(' '))).not.toMatch(/secret|gull/)
  await pager.getByRole('button', { name: 'Send a test' }).click()
  await expect(pager.getByText(/The message was taken/)).toBeVisible()
})

test('lists who was told of what, and what became of it', async ({ page }) => {
  await page.goto('/#/alarms/telling')
  const told = page.getByRole('region', { name: 'Who was told' })
  await expect(told.getByRole('listitem').filter({ hasText: 'Given up' })).toContainText('bo by webhook night-desk')
  await told.getByRole('button', { name: 'given up' }).click()
  await expect(told.getByText('Sent', { exact: true })).toHaveCount(0)
  await told.getByText('2 attempts').click()
  await expect(told.getByText('connection refused').first()).toBeVisible()

  await page.goto('/#/alarms')
  const leak = page.getByRole('article', { name: 'Tank water leaking' })
  await leak.getByText('1 told, 1 not reached').click()
  await expect(leak.getByText('ada@larkspur.example').first()).toBeVisible()
})

test('a technician changes plans and sees no mail server', async ({ page, server }) => {
  if (server.person) server.person.role = 'technician'
  await page.goto('/#/alarms/telling')
  await expect(page.getByRole('region', { name: 'Larkspur Harbour Hotel' })).toBeVisible()
  await expect(page.getByRole('region', { name: 'How messages are sent' })).toHaveCount(0)
})
