// The time as screens show it, to the half minute.
const tickMS = 30_000

class Clock {
  now = $state(new Date())

  constructor() {
    setInterval(() => this.set(), tickMS)
    // A phone that slept shows an old time until it is told.
    document.addEventListener('visibilitychange', () => this.set())
  }

  set() {
    this.now = new Date()
  }
}

export const clock = new Clock()
