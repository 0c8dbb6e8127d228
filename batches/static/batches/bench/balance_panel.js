/* What the balance shows, and taking it as a weighing: only a stable reading of grams above zero, once, and never one
   that the balance has fallen silent about. A balance that marks nothing is stable when it says the same three times. */

import { canRead, tellLines } from "./balance_line.js";
import { balanceReading, whyNotKept } from "./readings.js";

const SILENT_MS = 3000;
const SAME_IN_A_ROW = 3;
const at = (id) => document.getElementById(id);

export class BalancePanel {
  #lines = [];
  #taken = null;
  #heard = 0;

  /** `shown()` is called after each line; `ready()` says whether a weighing can be taken now; `take({reading,
      micrograms})` takes one; `refused(line, why)` is told of a reading that was not taken; `failed()` is called when no balance was connected. */
  constructor({ shown, ready, take, refused, failed }) {
    Object.assign(this, { shown, ready, take, refused, failed });
    if (canRead()) at("balance").hidden = false;
    at("connect").addEventListener("click", () => this.#connect());
    at("take-reading").addEventListener("click", () => this.#takeReading());
    document.addEventListener("still:balance-line", (event) => this.#hear(event.detail.line));
    document.addEventListener("still:balance-gone", () => this.#gone());
  }

  /** Micrograms on the balance that are not recorded yet, null when there is nothing to show. */
  get live() {
    const last = this.#lines.at(-1);
    const fresh = last && performance.now() - this.#heard < SILENT_MS;
    return fresh && last.micrograms > 0n && last.micrograms !== this.#taken ? last.micrograms : null;
  }

  #hear(line) {
    const reading = balanceReading(line);
    if (!reading) return;
    this.#lines = [...this.#lines, { ...reading, line }].slice(-SAME_IN_A_ROW);
    this.#heard = performance.now();
    if (reading.micrograms !== this.#taken) this.#taken = null;
    at("balance").hidden = at("reading").hidden = at("take-reading").hidden = false;
    at("reading-figure").textContent = reading.shown;
    this.#tell();
    this.shown();
  }

  #obstacle() {
    const last = this.#lines.at(-1);
    if (!last || performance.now() - this.#heard > SILENT_MS) return "The balance is silent; nothing is recorded.";
    const why = whyNotKept(last);
    if (why) return why;
    const same = this.#lines.length === SAME_IN_A_ROW && this.#lines.every((one) => one.micrograms === last.micrograms);
    if (last.stable === null && !same) return "The reading is still moving; it is not recorded.";
    return last.micrograms === this.#taken ? "This reading is taken; set the balance to zero for the next." : "";
  }

  #tell() {
    const obstacle = this.#obstacle();
    if (at("reading-told").textContent !== (obstacle || "Stable.")) at("reading-told").textContent = obstacle || "Stable.";
    at("take-reading").setAttribute("aria-disabled", obstacle ? "true" : "false");
  }

  #takeReading() {
    const obstacle = this.#obstacle();
    const last = this.#lines.at(-1);
    if (obstacle && last && last.micrograms !== this.#taken) this.refused(last.line.trim(), obstacle);
    if (!obstacle && this.ready()) {
      const { line, micrograms } = this.#lines.at(-1);
      this.#taken = micrograms;
      this.take({ reading: line.trim(), micrograms: String(micrograms) });
    }
    this.#tell();
  }

  async #connect() {
    if (at("connect").getAttribute("aria-disabled") === "true") return;
    try {
      await tellLines(Number(at("baud").value));
      at("connect").textContent = "Balance connected";
      at("connect").setAttribute("aria-disabled", "true");
    } catch {
      this.failed();
    }
  }

  #gone() {
    at("connect").removeAttribute("aria-disabled");
    at("connect").textContent = "Connect a balance";
    at("reading-told").textContent = "The balance is gone. A typed weight always works.";
  }
}
