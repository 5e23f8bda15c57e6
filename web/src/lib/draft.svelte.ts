// A tank file on the desk. The text is the draft; the form and the editor are two
// views of it. The server makes every change of the form in the text, comments
// kept, and says what the draft makes: its form, its section, its check.
import { SvelteMap } from 'svelte/reactivity'
import { ask, Failure, server, type Check, type Form, type FormEdit, type Wrong } from '../api/client'
import { mistakes } from './faults'

type Format = 'wide' | 'narrow'

const pauseMS = 400

export class DesignDraft {
  text = $state('')
  form = $state.raw<Form>()
  /** what was typed into fields and is not in the text yet, by path */
  typed = new SvelteMap<string, string>()
  /** of the last text without mistakes */
  section = $state.raw('')
  check = $state.raw<Check>()
  failed = $state<unknown>()
  waiting = $state(false)

  #format: Format | undefined
  #edits: FormEdit[] = []
  #due = false
  #timer: ReturnType<typeof setTimeout> | undefined
  #asking: Promise<void> | undefined

  get problems(): Wrong[] {
    return this.failed ? mistakes(this.failed) : (this.form?.problems ?? [])
  }

  /** A text as it was saved, or as somebody types it: the form follows. */
  retype(text: string) {
    this.text = text
    this.#edits = []
    this.typed.clear()
    this.#later()
  }

  /** A field as somebody types it: the text follows after a pause. */
  type(path: string, value: string, edit: FormEdit) {
    this.typed.set(path, value)
    this.#edits = [...this.#edits.filter((e) => e.path !== path), edit]
    this.#later()
  }

  /** A part added or removed; done when it is in the form. */
  async change(edit: FormEdit) {
    this.#edits.push(edit)
    this.#due = true
    await this.settle()
  }

  /** The section for a width of the page, once the draft is drawn in it. */
  async drawn(format: Format): Promise<string> {
    if (format !== this.#format) {
      this.#format = format
      this.#due = true
      await this.settle()
    }
    return this.section
  }

  /** Everything typed is in the text, and the answer to it is here. */
  async settle() {
    clearTimeout(this.#timer)
    if (this.waiting) this.#due = true
    while (this.#asking || this.#due) {
      this.#asking ??= this.#ask().finally(() => (this.#asking = undefined))
      await this.#asking
    }
  }

  #later() {
    this.waiting = true
    clearTimeout(this.#timer)
    this.#timer = setTimeout(() => this.settle(), pauseMS)
  }

  async #ask() {
    const [text, edits] = [this.text, this.#edits]
    this.#edits = []
    this.#due = false
    this.waiting = false
    try {
      const answer = await ask(
        server.POST('/api/drafts/form', { params: { query: { format: this.#format } }, body: { text, edits } }),
      )
      if (this.text !== text) return // typed over in the time between; the next answer counts
      this.failed = undefined
      this.form = answer.form
      this.text = answer.form.text
      this.section = answer.section ?? this.section
      this.check = answer.check ?? this.check
      for (const { path } of edits) if (!this.#edits.some((e) => e.path === path)) this.typed.delete(path)
    } catch (thrown) {
      this.failed = thrown
      // A server that is away has refused nothing: the next try brings it all.
      if (thrown instanceof Failure && thrown.status === 0) this.#edits = [...edits, ...this.#edits]
    }
  }
}
