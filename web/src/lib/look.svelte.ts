// Light paper or night watch: this screen's own choice, kept in this browser.
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
  #system = matchMedia('(prefers-color-scheme: dark)')

  constructor() {
    this.#apply()
    this.#system.addEventListener('change', () => this.#apply())
  }

  choose(look: Look) {
    this.chosen = look
    localStorage.setItem(key, look)
    this.#apply()
  }

  #apply() {
    if (this.chosen === 'auto') delete document.documentElement.dataset.look
    else document.documentElement.dataset.look = this.chosen
    this.dark = this.chosen === 'dark' || (this.chosen === 'auto' && this.#system.matches)
  }
}

export const look = new LookOfScreen()
