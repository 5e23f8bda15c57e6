/** Something asked of the server: whether it is under way, why it failed, and what
 * is said of it once it is done. */
export class Attempt {
  busy = $state(false)
  failed = $state<unknown>()
  said = $state('')

  async make(act: () => Promise<void>) {
    this.busy = true
    this.failed = undefined
    this.said = ''
    try {
      await act()
    } catch (thrown) {
      this.failed = thrown
    } finally {
      this.busy = false
    }
  }
}
