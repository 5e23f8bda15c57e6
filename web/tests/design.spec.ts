import { expect, holds, test } from './test'

test('edits a design by field: mistakes at the field, the section and the check follow, a version', async ({ page, server }) => {
  const original = server.versions[0]?.text ?? ''
  await page.goto('/#/design')
  await expect(page.getByRole('link', { name: 'Reading Room reef' })).toBeVisible()
  await holds(page, 'designs')
  await page.getByRole('link', { name: 'Reading Room reef' }).click()
  await expect(page.getByRole('img', { name: /Lobby reef of/ })).toBeVisible()
  await expect(page.getByText('Not accepted. One single fault')).toBeVisible()
  await expect(page.getByLabel('Name')).toHaveValue('Reading Room reef')
  await expect(page.getByLabel('Isohaline')).toHaveCount(0) // one choice is none

  await page.getByText('Water', { exact: true }).click()
  const salinity = page.getByLabel('Salinity', { exact: true })
  await expect(salinity).toHaveValue('35 ppt')
  await salinity.fill('salty')
  await expect(page.getByText('One thing to mend.')).toBeVisible()
  await expect(salinity).toHaveAttribute('aria-invalid', 'true')
  await expect(salinity).toHaveAccessibleDescription(/“salty” is no salinity; give one like 35 ppt/)
  await holds(page, 'design-form')

  // The text is the same draft.
  await page.getByRole('radio', { name: 'Text' }).check({ force: true })
  await expect(page.getByLabel('Tank file')).toHaveValue(/salinity: salty/)
  await page.getByRole('radio', { name: 'Form' }).check({ force: true })
  await page.getByRole('button', { name: /water.salinity: “salty”/ }).click() // the list of mistakes leads there
  await expect(salinity).toBeFocused()
  await salinity.fill('34 ppt')
  await expect(page.getByText('One thing to mend.')).toBeHidden()

  await page.getByText('Water', { exact: true }).click()
  await page.getByRole('button', { name: 'Add limits' }).click()
  await expect(page.getByText('Limits', { exact: true }).locator('xpath=ancestor::summary')).toBeFocused()
  await page.getByRole('button', { name: 'Remove limits' }).click()
  await expect(page.getByRole('button', { name: 'Add limits' })).toBeFocused()

  await page.getByRole('button', { name: 'The whole check' }).click()
  await expect(page.getByRole('row', { name: /Run limit 95 s/ })).toBeVisible()
  await page.getByLabel('Why this change').fill('mixed weaker on purpose')
  await page.getByRole('button', { name: 'Save', exact: true }).click()
  await expect(page.getByText('Saved as version 2.')).toBeVisible()
  await expect(page.getByRole('row', { name: /^2 .* ada mixed weaker on purpose/ })).toBeVisible()
  await holds(page, 'design')
  expect(server.versions[0]?.text).toBe(original.replace('salinity: 35 ppt', 'salinity: 34 ppt')) // comments and all
})

test('edits a design as text: mistakes by line, the form follows; an old version comes back', async ({ page, server }) => {
  await page.goto('/#/design/reading-room')
  await page.getByRole('radio', { name: 'Text' }).check({ force: true })
  const file = page.getByLabel('Tank file')
  await expect(file).toHaveValue(/name: Reading Room reef/)
  const original = await file.inputValue()
  await file.fill(original.replace('salinity: 35 ppt', 'salinity: salty'))
  const line = original.split('\n').findIndex((l) => l.includes('salinity: 35 ppt')) + 1
  await expect(page.getByText(`water.salinity: “salty” is no salinity; give one like 35 ppt.`)).toBeVisible()
  await page.getByRole('button', { name: `Line ${line}` }).click()
  expect(await page.evaluate(() => getSelection()?.toString())).toContain('salinity: salty')
  await file.fill(original.replace('length: 1200 mm', 'length: 1300 mm'))
  await expect(page.getByText('is no salinity')).toHaveCount(0)

  await page.getByRole('radio', { name: 'Form' }).check({ force: true })
  await page.locator('summary', { hasText: 'Display' }).click()
  await expect(page.getByLabel('Length')).toHaveValue('1300 mm')
  await page.getByRole('button', { name: 'Open version 1' }).click()
  await expect(page.getByLabel('Length')).toHaveValue('1200 mm')
  await expect(page.getByRole('button', { name: 'Save', exact: true })).toBeDisabled()

  const download = page.waitForEvent('download')
  await page.getByRole('button', { name: 'Download the tank file' }).click()
  expect((await download).suggestedFilename()).toBe('reading-room.yaml')
  expect(server.versions).toHaveLength(1)
})

test('does not save over what somebody else saved meanwhile', async ({ page, server }) => {
  await page.goto('/#/design/reading-room')
  await page.getByRole('radio', { name: 'Text' }).check({ force: true })
  const file = page.getByLabel('Tank file')
  await expect(file).toHaveValue(/name: Reading/)
  await file.fill(`${await file.inputValue()}\n# mine`)
  server.versions.unshift({ version: 2, at: new Date().toISOString(), by: 'bo', note: '', text: 'theirs' })
  await page.getByRole('button', { name: 'Save', exact: true }).click()
  await expect(page.getByRole('alert').filter({ hasText: 'Version 2 was saved meanwhile' })).toBeVisible()
  await expect(file).toHaveValue(/# mine$/)
})
