import { gzipSync } from 'node:zlib'
import { svelte } from '@sveltejs/vite-plugin-svelte'
import type { Plugin } from 'vite'
import { defineConfig } from 'vitest/config'

// What a phone loads before Rounds reads: the entry and all it imports at once.
const limitBytes = 100_000

/** Prints the gzipped script of the first page and fails a build above the limit. */
function scriptSize(): Plugin {
  return {
    name: 'script-size',
    apply: 'build',
    generateBundle(_, bundle) {
      const counted = new Set<string>()
      const count = (file: string): number => {
        const chunk = bundle[file]
        if (counted.has(file) || chunk?.type !== 'chunk') return 0
        counted.add(file)
        return chunk.imports.reduce((sum, next) => sum + count(next), gzipSync(chunk.code).length)
      }
      const entry = Object.values(bundle).find((part) => part.type === 'chunk' && part.isEntry)
      const size = entry ? count(entry.fileName) : 0
      console.log(`script for Rounds: ${(size / 1000).toFixed(1)} kB gzipped, limit ${limitBytes / 1000} kB`)
      if (size > limitBytes) this.error(`the script for Rounds has ${size} bytes gzipped, over ${limitBytes}`)
    },
  }
}

export default defineConfig({
  plugins: [svelte(), scriptSize()],
  // `npm run dev` beside a running program: pages from here, data from there.
  server: { proxy: { '/api': process.env.ISOHALINE ?? 'http://127.0.0.1:8080' } },
  test: { include: ['src/**/*.test.ts'], reporters: ['default', ['json', { outputFile: 'test-results/logic.json' }]] },
})
