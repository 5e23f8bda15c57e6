import { expect, holds, test } from './test'

const table = ['When;Temp;Remark', '2026-11-20 08:00;25,1;', '2026-11-20 09:00;25.3;', '2026-11-20 10:00;181;odd', '2026-11-20 11:00;25.2;'].join('\n').replace('25,1', '25.1')

test('imports a table: columns, what would come of it, problems by row, the counts', async ({ page, server }) => {
  await page.goto('/#/tanks/lobby-reef')
  await page.getByRole('link', { name: 'Readings from a table' }).click()
  await expect(page.getByRole('heading', { name: 'Readings from a table, into Lobby reef' })).toBeVisible()
  await page.getByLabel('Choose a file').setInputFiles({ name: 'log.csv', mimeType: 'text/csv', buffer: Buffer.from(table) })
  await expect(page.getByLabel('Separated by')).toHaveValue('semicolon')
  await expect(page.getByLabel('Is, Temp')).toHaveValue('value')
  await expect(page.getByText('3 readings of 4 rows')).toBeVisible()
  await expect(page.getByText('Row 4, Temp: “181” is above 50 °C')).toBeVisible()
  await holds(page, 'import')

  await page.getByLabel('In, Temp').selectOption('°F') // 181 °F is still no water
  await expect(page.getByRole('row', { name: /^2 .* Temperature −3.83 °C/ })).toBeVisible()
  await page.getByLabel('In, Temp').selectOption('°C')
  await page.getByRole('button', { name: 'As here, Europe/Lisbon' }).click()
  await expect(page.getByLabel('Time zone of times')).toHaveValue('Europe/Lisbon')
  await page.getByLabel('Is, Remark').selectOption('readings')
  await page.getByLabel('Of, Remark').selectOption('watch')
  await page.getByLabel('Is, Remark').selectOption('not read')
  await page.getByRole('button', { name: 'Import 3 readings' }).click()
  await expect(page.getByRole('heading', { name: '3 readings imported' })).toBeVisible()
  await expect(page.getByText('One cell or row was left out:')).toBeVisible()
  await expect(page.getByText('The account has worked through')).toBeVisible()
  expect(server.imports).toHaveLength(1)
  expect(server.imports[0]?.file).toBe(table)
  expect(JSON.parse(server.imports[0]?.mapping ?? '')).toMatchObject({
    separator: 'semicolon',
    zone: 'Europe/Lisbon',
    columns: [
      { column: 1, use: 'time' },
      { column: 2, use: 'value', channel: 'temperature', unit: '°C' },
    ],
  })
})

test('asks which of two ways a pasted time is meant', async ({ page }) => {
  await page.goto('/#/tanks/lobby-reef/import')
  await page.getByLabel('Or paste the rows').fill('When,Temp\n03/04/2026 08:00,25\n03/04/2026 09:00,25')
  await page.getByRole('button', { name: 'Read what is pasted' }).click()
  await expect(page.getByText('They can be read in 2 ways: say which.')).toBeVisible()
  await expect(page.getByRole('button', { name: /^Import/ })).toBeDisabled()
  await page.getByLabel('Times look like').selectOption('day-month-year')
  await expect(page.getByText(/2 readings of 2 rows from 3 Apr 2026, 09:00/)).toBeVisible() // UTC, said as in Lisbon
  await expect(page.getByRole('button', { name: 'Import 2 readings' })).toBeEnabled()
})
