import { expect, holds, test } from './test'

test('edits a site file: mistakes by line, the section redrawn, the check, a version', async ({ page, server }) => {
  await page.goto('/#/design')
  await expect(page.getByRole('link', { name: 'Reading Room reef' })).toBeVisible()
  await holds(page, 'designs')
  await page.getByRole('link', { name: 'Reading Room reef' }).click()
  const file = page.getByLabel('Site file')
  await expect(file).toHaveValue(/name: Reading Room reef/)
  const original = await file.inputValue()
  await expect(page.getByRole('img', { name: /Lobby reef of/ })).toBeVisible()

  await file.fill(original.replace('salinity: 35 ppt', 'salinity: salty'))
  const line = original.split('\n').findIndex((l) => l.includes('salinity: 35 ppt')) + 1
  await expect(page.getByText(`water.salinity: “salty” is no salinity; give one like 35 ppt.`)).toBeVisible()
  await page.getByRole('button', { name: `Line ${line}` }).click()
  expect(await page.evaluate(() => getSelection()?.toString())).toContain('salinity: salty')

  await file.fill(original.replace('salinity: 35 ppt', 'salinity: 34 ppt'))
  await expect(page.getByText('is no salinity')).toHaveCount(0)
  await page.getByRole('button', { name: 'Run the check' }).click()
  await expect(page.getByRole('heading', { name: 'Not accepted' })).toBeVisible()
  await expect(page.getByRole('row', { name: /Run limit 95 s/ })).toBeVisible()
  await holds(page, 'design')

  await page.getByLabel('Why this change').fill('mixed weaker on purpose')
  await page.getByRole('button', { name: 'Save' }).click()
  await expect(page.getByText('Saved as version 2.')).toBeVisible()
  await expect(page.getByRole('row', { name: /^2 .* ada mixed weaker on purpose/ })).toBeVisible()
  expect(server.versions[0]?.text).toBe(original.replace('salinity: 35 ppt', 'salinity: 34 ppt'))
})

test('does not save over what somebody else saved meanwhile', async ({ page, server }) => {
  await page.goto('/#/design/reading-room')
  const file = page.getByLabel('Site file')
  await expect(file).toHaveValue(/name: Reading/)
  await file.fill(`${await file.inputValue()}\n# mine`)
  server.versions.unshift({ version: 2, at: new Date().toISOString(), by: 'bo', note: '', text: 'theirs' })
  await page.getByRole('button', { name: 'Save' }).click()
  await expect(page.getByRole('alert').filter({ hasText: 'Version 2 was saved meanwhile' })).toBeVisible()
  await expect(file).toHaveValue(/# mine$/)
})
