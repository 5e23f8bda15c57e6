// What tests of pages share: a fixture server each, and the promise that a page
// holds in both looks and on both sizes of screen.
import { AxeBuilder } from '@axe-core/playwright'
import { expect, test as base, type Page } from '@playwright/test'
import { FixtureServer } from './server'

export const test = base.extend<{ server: FixtureServer }>({
  // Playwright reads from the first parameter which other fixtures this one needs.
  server: async ({}, use) => {
    const server = await FixtureServer.start()
    await use(server)
    await server.stop()
  },
  baseURL: async ({ server }, use) => use(server.url),
})
export { expect }

const screens = { phone: { width: 390, height: 844 }, desk: { width: 1440, height: 900 } }
const looks = ['light', 'dark'] as const
// WCAG 2.2 level AA, and what axe calls best practice.
const rules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']

/**
 * Holds one page to WCAG 2.2 AA and to its own width, on a phone and at a desk,
 * on light paper and by night; each is kept as a picture in test-results.
 */
export async function holds(page: Page, name: string) {
  for (const [screen, size] of Object.entries(screens)) {
    for (const colorScheme of looks) {
      await page.setViewportSize(size)
      await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' })
      await page.evaluate(() => document.fonts.ready)
      await page.waitForTimeout(250) // charts are drawn anew for size and look
      await page.screenshot({ path: `test-results/${name}-${screen}-${colorScheme}.png`, fullPage: true })
      const found = await new AxeBuilder({ page }).withTags(rules).analyze()
      expect(found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html).join(' ')}`)).toEqual([])
      const overflow = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth)
      expect(overflow, `${name} is wider than the ${screen}`).toBeLessThanOrEqual(0)
    }
  }
}
