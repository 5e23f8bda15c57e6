import { defineConfig } from '@playwright/test'

export default defineConfig({
  testDir: 'tests',
  outputDir: 'test-results/failures',
  fullyParallel: true,
  workers: 2,
  timeout: 120_000, // a page is held to WCAG four times over
  forbidOnly: !!process.env.CI,
  reporter: [['list'], ['json', { outputFile: 'test-results/report.json' }]],
  use: {
    launchOptions: {
      executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
      args: [
        '--no-sandbox',
        '--disable-gpu',
        '--disable-quic',
        '--no-first-run',
        '--disable-background-networking',
        '--disable-component-update',
        '--disable-sync',
      ],
    },
    timezoneId: 'Europe/Lisbon',
    screenshot: 'only-on-failure',
  },
})
