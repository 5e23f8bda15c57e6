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
  await expect(volume).toHaveAccessibleDescription('From the tank file: display and sump as running.')
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

test('what a tank uses up: its hand readings to begin with, lines that a thumb can change', async ({ page }) => {
  await page.goto('/#/bench')
  await page.getByLabel('Water of').selectOption('Lobby reef')
  await expect(page.getByRole('heading', { name: 'Bench, Lobby reef' })).toBeVisible()
  await page.setViewportSize({ width: 390, height: 844 })
  await page.getByLabel('Question').selectOption('is used up a day')
  await expect(page.getByRole('heading', { name: 'How much is used up a day?' })).toBeVisible()
  const answer = page.getByRole('region', { name: 'Answer' })
  await expect(answer).toContainText('use: {"volumeL":1460,"log":[{')
  await expect(page.getByText('From hand readings and water changes of the last 60 days; doses are not kept, so add them.')).toBeVisible()
  const line = (n: number) => page.getByRole('group', { name: `Line ${n}`, exact: true })
  await expect(page.getByRole('group', { name: /^Line / })).toHaveCount(3)
  await expect(line(2).getByLabel('What')).toHaveValue('water-change')
  await expect(line(2).getByRole('textbox', { name: 'Error' })).toHaveCount(0) // a change is no reading

  // Day, value and error are typed where they stand.
  const day = await line(1).getByLabel('Day').inputValue()
  await line(1).getByLabel('Day').fill('2026-01-05')
  await expect(answer).toContainText('"at":"2026-01-05T')
  await line(1).getByLabel('Day').fill(day)
  await line(1).getByRole('textbox', { name: 'Read' }).fill('8,9')
  await expect(answer).toContainText('"what":"alkalinity","amount":8.9')
  await line(1).getByRole('textbox', { name: 'Error' }).fill('0.1')
  await expect(answer).toContainText('"amount":8.9,"sd":0.1')
  await expect(page.getByText(/From hand readings/)).toHaveCount(0) // it is the person's now
  await line(2).getByRole('textbox', { name: /^New water/ }).fill('9')
  await expect(answer).toContainText('"alkalinityDKH":9')

  // A dose is added; it has grams, and no error.
  await page.getByRole('button', { name: 'One more line' }).click()
  await line(4).getByLabel('What').selectOption('sodium bicarbonate given')
  await line(4).getByRole('textbox', { name: 'Amount g' }).fill('12')
  await expect(answer).toContainText('"what":"sodium-bicarbonate","amount":12}')
  for (const target of await page.locator('.log').locator('input, select, button').all()) {
    expect((await target.boundingBox())?.height).toBeGreaterThanOrEqual(56) // wet hands
  }
  await holds(page, 'bench-use')

  // A trend needs two readings: with fewer there is nothing to ask.
  for (const n of [4, 3, 2]) await page.getByRole('button', { name: `Remove line ${n}` }).click()
  await expect(answer).toContainText('Give at least two readings')
  await expect(answer).not.toContainText('use: ')
})

test('a month by hand is asked of a tank with a controller only', async ({ page }) => {
  await page.goto('/#/bench')
  const answer = page.getByRole('region', { name: 'Answer' })
  await expect(answer).toContainText('shock: ')
  const hand = page.getByRole('radio', { name: 'fresh water by hand, for a month' })
  await expect(hand).toHaveCount(0)
  await page.getByLabel('Water of').selectOption('Lobby reef')
  await hand.check({ force: true })
  await expect(page.getByRole('heading', { name: 'What if I add fresh water by hand, for a month?' })).toBeVisible()
  await expect(answer).toContainText('hand: {"everyDays":3}')
  await page.getByRole('button', { name: 'More: Time between two top-offs' }).click()
  await expect(answer).toContainText('hand: {"everyDays":4}')
})

test('asks every question, several readings too', async ({ page }) => {
  await page.goto('/#/bench')
  const answer = page.getByRole('region', { name: 'Answer' })
  for (const [name, says] of [
    ['new salt water, again and again', 'change: '],
    ['another alkalinity, calcium or magnesium', 'correct: '],
    ['another salinity', 'salt: '],
    ['this reading', 'convert: '],
    ['is used up a day', 'use: '],
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
