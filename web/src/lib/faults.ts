// Mistakes in a tank file, by line.
import { Failure, type Wrong } from '../api/client'

/** What a draft that was not taken has wrong with it; none for other failures. */
export function mistakes(thrown: unknown): Wrong[] {
  return thrown instanceof Failure ? thrown.wrongs : []
}

/** Where a line stands in a text, to select it: from its first sign to its end. */
export function spanOfLine(text: string, line: number): { start: number; end: number } {
  const lines = text.split('\n')
  const index = Math.min(Math.max(1, line), lines.length) - 1
  const start = lines.slice(0, index).reduce((sum, l) => sum + l.length + 1, 0)
  return { start, end: start + (lines[index] ?? '').length }
}
