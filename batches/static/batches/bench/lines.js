/* The lines of the batch on the page: which one is at hand, what each holds with what waits, and how that shows. */

import { bandOf, showStanding, standing } from "./band.js";
import { grams } from "./readings.js";

export const takes = () => [...document.querySelectorAll(".take")];
export const take = (position) => document.querySelector(`.take[data-of="${position}"]`);
export const figures = (position) => document.getElementById(`figures-${position}`);

export class Lines {
  /** `waiting()` are the weighings that the server has not confirmed yet; `typed()` and `read()` the micrograms in the
      field and on the balance for the line at hand, null when there are none. */
  constructor({ waiting, typed, read }) {
    Object.assign(this, { waiting, typed, read });
    this.current = takes().find((section) => !section.hidden)?.dataset.of ?? "";
  }

  /** Micrograms of a line, what waits included. */
  holds(position) {
    return bandOf(figures(position)).weighed + this.#waits(position);
  }

  /** The band of a line, and what it holds before the next weighing. */
  band(position) {
    return { ...bandOf(figures(position)), before: this.holds(position) };
  }

  state(position) {
    if (figures(position).dataset.state === "left out") return "left out";
    return standing(bandOf(figures(position)), this.holds(position)).state;
  }

  /** The next line in pouring order that does not hold enough, the one at hand left out. */
  nextOpen() {
    const order = takes().map((section) => section.dataset.of);
    const from = order.indexOf(this.current) + 1;
    const isOpen = (position) => position !== this.current && ["open", "begun"].includes(this.state(position));
    return [...order.slice(from), ...order.slice(0, from)].find(isOpen);
  }

  /** Bring a line to hand. */
  goTo(position) {
    this.current = position;
    for (const part of document.querySelectorAll("[data-of]")) part.hidden = part.dataset.of !== position;
    this.mark(document);
    history.replaceState(null, "", `?line=${position}`);
  }

  /** Mark the line at hand in the list of all lines, in the page or a part of it. */
  mark(within) {
    for (const link of within.querySelectorAll("#bench-list a")) {
      if (link.dataset.line === this.current) link.setAttribute("aria-current", "step");
      else link.removeAttribute("aria-current");
    }
  }

  show(position) {
    if (this.state(position) === "left out") return;
    const waits = this.#waits(position);
    markUnsaved(position, waits > 0n);
    const holds = this.holds(position);
    const typed = position === this.current ? this.typed() : null;
    const read = position === this.current ? this.read() : null;
    if (typed) showStanding(figures(position), holds + typed, "typed, not recorded yet");
    else if (read) showStanding(figures(position), holds + read, "on the balance, not recorded yet");
    else showStanding(figures(position), holds, waits ? `${grams(waits)} g of it not saved yet` : "");
  }

  showAll() {
    for (const section of takes()) this.show(section.dataset.of);
  }

  #waits(position) {
    const recorded = new Set(figures(position).dataset.operations.split(" "));
    const open = this.waiting().filter((entry) => entry.position === position && !recorded.has(entry.operation));
    return open.reduce((sum, entry) => sum + BigInt(entry.micrograms), 0n);
  }
}

function markUnsaved(position, waits) {
  const tag = document.getElementById(`goto-${position}`).querySelector(".tag");
  tag.dataset.word ??= tag.textContent;
  tag.textContent = waits ? "not saved yet" : tag.dataset.word;
}
