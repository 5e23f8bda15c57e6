import { expect, holds, test } from './test'

test('acknowledges, resets, shelves with an end, and takes off the shelf', async ({ page, server }) => {
  await page.goto('/#/alarms')
  const alarm = (title: string) => page.getByRole('article', { name: title })
  await expect(alarm('Ceiling level wet')).toContainText('Do not touch anything that is plugged in')
  await expect(alarm('Top-off overdue')).toContainText('Explained by “Site silent”')
  await expect(alarm('Top-off overdue').getByRole('button')).toHaveCount(0)
  await holds(page, 'alarms')

  await page.getByRole('button', { name: 'Acknowledge Ceiling level wet' }).click()
  await expect(alarm('Ceiling level wet')).toContainText('Acknowledged by ada')

  await page.getByRole('button', { name: 'Shelve… Ceiling level wet' }).click()
  const shelf = page.getByRole('group', { name: 'Shelve Ceiling level wet for' })
  await expect(shelf.getByRole('button')).toHaveText(['15 minutes', '1 hour']) // it may rest an hour at most
  await shelf.getByRole('button', { name: '15 minutes' }).click()
  await expect(alarm('Ceiling level wet')).toContainText(/Shelved until \d\d:\d\d by ada/)
  expect(Date.parse(server.alarms[0]?.shelvedUntil ?? '') - Date.now()).toBeLessThanOrEqual(900_000)

  await page.getByRole('button', { name: 'Take off the shelf Ceiling level wet' }).click()
  await expect(alarm('Ceiling level wet')).toContainText('Unacknowledged')

  await page.getByRole('button', { name: 'Reset Fill without end' }).click()
  await expect(alarm('Fill without end')).toHaveCount(0)
})
