/* What this page refuses at the bench is told to the service, so that it can be found there: a wrong lot, an unclear
   weight, one outside the band that was asked for twice, a reading that was not to keep. It waits in an outbox of its
   own and is told once, under the name of its operation. */

import { Outbox } from "./outbox.js";
import { poster } from "./sending.js";

const DOUBLE_MS = 2000;

export class Refusals {
  #outbox;
  #last = { words: "", at: 0 };

  /** `address` takes what was refused. */
  constructor({ member, batch, address }) {
    this.#outbox = new Outbox({
      kind: "refused",
      member,
      batch,
      send: poster(address, ["operation", "position", "kind", "told", "why"]),
      settled: (answer, entry) => this.#outbox.drop(entry.operation),
      changed: () => {},
    });
  }

  /** Note that `told` was refused at a line, as `kind`, with the sentence `why`. A scanner that reads twice is noted once. */
  note(position, kind, told, why) {
    const words = `${position} ${kind} ${told}`;
    const twice = words === this.#last.words && Date.now() - this.#last.at < DOUBLE_MS;
    this.#last = { words, at: Date.now() };
    if (!twice && told) this.#outbox.add({ position, kind, told: told.slice(0, 200), why: why.slice(0, 500) });
  }

  /** Tell what still waits from before. */
  run() {
    this.#outbox.run();
  }
}
