import { expect, holds, test } from './test'

test('answers at once: a sentence, numbers with their errors, the days to come, the sources', async ({ page }) => {
  await page.goto('/')
  await page.getByRole('link', { name: 'Bench', exact: true }).click()
  await expect(page.getByRole('heading', { name: 'What if I add fresh water at once?' })).toBeVisible()
  const answer = page.getByRole('region', { name: 'Answer' })
  await expect(answer).toContainText('"topOffL":5')
  await expect(answer.getByRole('row', { name: 'Alkalinity within minutes 7.84 dKH 7.63 to 8.05' })).toBeVisible()
  await expect(answer.getByRole('row', { name: /^Share of the water that is new 34.4 %/ })).toBeVisible()
  await expect(answer.getByRole('img', { name: 'Alkalinity in the days to come: from 7.80 dKH to 8.40 dKH in 3 days; Alkalinity if nothing is done: from 7.80 dKH to 6.60 dKH in 3 days' })).toBeVisible()
  await expect(answer.getByRole('img', { name: 'Salinity: from 35.0 PSU to 34.0 PSU in 3 days' })).toBeVisible()
  await expect(answer).toContainText('Dickson, Sabine and Christian (2007)')
  await expect(answer).toContainText('CAUTION Change alkalinity slowly')

  // Steppers go from odd numbers to round ones; typing takes a comma.
  const salinity = page.getByRole('textbox', { name: /^Salinity/ })
  await salinity.fill('34,63')
  await expect(answer).toContainText('"salinityPSU":34.63')
  await page.getByRole('button', { name: 'More: Salinity' }).click()
  await expect(salinity).toHaveValue('34.7')
  await page.getByRole('button', { name: 'Less: Salinity' }).click()
  await expect(salinity).toHaveValue('34.6')
  for (const button of await page.getByRole('button', { name: /^(More|Less): / }).all()) {
    const box = await button.boundingBox()
    if (box) expect(Math.min(box.width, box.height)).toBeGreaterThanOrEqual(56) // wet hands
  }

  // What may be left out is left out until somebody touches it.
  await page.getByText('What else it depends on').click()
  await expect(answer).not.toContainText('"pH"')
  await page.getByRole('button', { name: 'More: pH' }).click()
  await expect(answer).toContainText('"pH":8.1')
  await page.getByRole('textbox', { name: /^pH/ }).fill('')
  await expect(answer).not.toContainText('"pH"')
  await holds(page, 'bench')

  await page.getByRole('textbox', { name: /^Fresh water/ }).fill('5000')
  await expect(answer.getByRole('alert')).toContainText('topOffL: “5000” is more than the tank holds; give less.')
})

test('begins with what is known of a tank, in the units of the person', async ({ page, server }) => {
  if (server.person) server.person.units = 'us'
  await page.goto('/#/bench')
  await page.getByLabel('Water of').selectOption('Lobby reef')
  await expect(page.getByRole('heading', { name: 'Bench, Lobby reef' })).toBeVisible()
  const volume = page.getByRole('textbox', { name: /^Water in it/ })
  await expect(volume).toHaveValue('385.69') // 1460 L
  await expect(volume).toHaveAccessibleDescription('From the site file: display and sump as running.')
  await expect(page.getByRole('textbox', { name: /^Temperature/ })).toHaveValue('77.54')
  await page.getByRole('button', { name: 'More: Temperature' }).click()
  await expect(page.getByRole('textbox', { name: /^Temperature/ })).toHaveValue('78')
  const answer = page.getByRole('region', { name: 'Answer' })
  await expect(answer).toContainText('"tempC":25.5555') // 78 °F
  await expect(answer.getByRole('row', { name: 'Change of temperature −0.9 °F difference −1.3 to −0.5' })).toBeVisible()
  await expect(page.getByRole('textbox', { name: /^Alkalinity/ })).toHaveAccessibleDescription(/read on 2026-11-22, by titration/)
  await page.getByRole('textbox', { name: /^Alkalinity/ }).fill('8')
  await expect(page.getByRole('textbox', { name: /^Alkalinity/ })).not.toHaveAccessibleDescription(/titration/) // it is the person's now
  await page.getByRole('radio', { name: 'water from an RO/DI unit' }).check({ force: true })
  await expect(answer).toContainText('"litresDay":13,"ratedLitresDay":190') // the need is known, the unit is not
})

test('asks every question, several readings too', async ({ page }) => {
  await page.goto('/#/bench')
  const answer = page.getByRole('region', { name: 'Answer' })
  for (const [name, says] of [
    ['new salt water, again and again', 'change: '],
    ['another alkalinity, calcium or magnesium', 'correct: '],
    ['another salinity', 'salt: '],
    ['this reading', 'convert: '],
    ['lime water', 'lime: '],
    ['salt in a calibration fluid', 'fluid: '],
    ['water from an RO/DI unit', 'source: '],
    ['several readings of one water', 'agree: '],
  ] as const) {
    await page.getByRole('radio', { name }).check({ force: true })
    await expect(answer).toContainText(says)
  }
  await page.getByRole('button', { name: 'One more reading' }).click()
  await expect(answer).toContainText('{"instrument":"hydrometer","value":1.0264,"tempC":25}')
  const third = page.getByRole('group', { name: 'Reading 3' })
  await expect(third.getByRole('textbox', { name: /^First temperature on the glass/ })).toBeVisible()
  await third.getByLabel('Instrument').selectOption('density')
  await expect(third.getByRole('textbox', { name: 'It shows' })).toHaveValue('1023.3')
  await expect(third.getByRole('textbox', { name: /^First temperature on the glass/ })).toHaveCount(0)
  await page.getByRole('button', { name: 'Remove reading 3' }).click()
  await expect(answer).not.toContainText('density')
  await holds(page, 'bench-readings')
  await page.setViewportSize({ width: 390, height: 844 })
  await page.getByLabel('Question').selectOption('lime water')
  await expect(answer).toContainText('lime: ')
})

test('prints what was asked and answered, and nothing to press', async ({ page }) => {
  await page.goto('/#/bench')
  const answer = page.getByRole('region', { name: 'Answer' })
  await expect(answer).toContainText('shock: ')
  await page.emulateMedia({ media: 'print', colorScheme: 'dark' })
  await page.evaluate(() => dispatchEvent(new Event('beforeprint')))
  expect(await page.evaluate(() => getComputedStyle(document.documentElement).color)).toBe('rgb(22, 39, 74)') // ink, by night too
  await expect(page.getByRole('navigation')).toBeHidden()
  await expect(page.getByRole('button', { name: 'Print' })).toBeHidden()
  await expect(page.getByRole('button', { name: 'More: Salinity' })).toBeHidden()
  await expect(page.getByRole('textbox', { name: /^Salinity/ })).toBeVisible()
  await expect(answer).toContainText('Where the equations are from')
  await page.screenshot({ path: 'test-results/bench-print.png', fullPage: true })
  await page.evaluate(() => dispatchEvent(new Event('afterprint')))
  expect(await page.evaluate(() => getComputedStyle(document.documentElement).color)).toBe('rgb(230, 225, 211)')
})
