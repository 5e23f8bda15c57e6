// Light or dark: this screen's own choice, kept in this browser.
import { flushSync } from 'svelte'

export type Look = 'auto' | 'light' | 'dark'

const key = 'isohaline.look'
const looks: readonly string[] = ['auto', 'light', 'dark']

function kept(): Look {
  const value = localStorage.getItem(key) ?? 'auto'
  return looks.includes(value) ? (value as Look) : 'auto'
}

class LookOfScreen {
  chosen = $state<Look>(kept())
  /** Changes whenever colours do, so that what is drawn on a canvas can follow. */
  dark = $state(false)
  #printing = false
  #system = matchMedia('(prefers-color-scheme: dark)')

  constructor() {
    this.#apply()
    this.#system.addEventListener('change', () => this.#apply())
    // Paper is light, and what is on a canvas has to be drawn before it is printed.
    addEventListener('beforeprint', () => flushSync(() => this.#print(true)))
    addEventListener('afterprint', () => this.#print(false))
  }

  choose(look: Look) {
    this.chosen = look
    localStorage.setItem(key, look)
    this.#apply()
  }

  #print(printing: boolean) {
    this.#printing = printing
    this.#apply()
  }

  #apply() {
    this.#show(this.#printing ? 'light' : this.chosen)
  }

  #show(look: Look) {
    if (look === 'auto') delete document.documentElement.dataset.look
    else document.documentElement.dataset.look = look
    this.dark = look === 'dark' || (look === 'auto' && this.#system.matches)
  }
}

export const look = new LookOfScreen()
