/* The band of a line while it is poured: the mark on the scale that batches/pages/bench_band.py draws, and the same in
   words. All amounts are micrograms (BigInt). */

import { fromGrams, grams } from "./readings.js";

const WIDE = 600;
const BAND_FROM = 360;
const BAND_TO = 510;

/** The figures that a line's element carries. */
export function bandOf(figures) {
  const { target, smallest, largest, weighed } = figures.dataset;
  return {
    target: fromGrams(target),
    smallest: fromGrams(smallest),
    largest: fromGrams(largest),
    weighed: fromGrams(weighed),
  };
}

/** Where a mass stands on the scale. */
export function place(band, mass) {
  const ratio = (part, whole) => (whole === 0n ? 1 : Number(part) / Number(whole));
  const width = band.largest - band.smallest;
  let at;
  if (mass <= band.smallest) at = BAND_FROM * ratio(mass, band.smallest);
  else if (mass <= band.largest) at = BAND_FROM + (BAND_TO - BAND_FROM) * ratio(mass - band.smallest, width);
  else at = BAND_TO + (WIDE - BAND_TO) * ratio(mass - band.largest, width || mass);
  return Math.trunc(Math.min(Math.max(at, 0), WIDE));
}

/** How a line stands with this much in it: its state and a sentence. */
export function standing(band, mass) {
  if (mass <= 0n) return { state: "open", sentence: `${grams(band.target)} g to pour` };
  if (mass < band.smallest) return { state: "begun", sentence: `${grams(band.target - mass)} g still to pour` };
  if (mass > band.largest) return { state: "over", sentence: `${grams(mass - band.target)} g over the target` };
  return { state: "done", sentence: `within the band, ${signed(mass - band.target)} from the target` };
}

/** A difference with its sign and unit, as the server writes it. */
export function signed(micrograms) {
  const sign = micrograms > 0n ? "+" : micrograms < 0n ? "−" : "±";
  return `${sign}${grams(micrograms < 0n ? -micrograms : micrograms)}\u00a0g`;
}

const TAGS = { open: ["", "To pour"], begun: ["warn", "Begun"], done: ["good", "Poured"], over: ["bad", "Too much"] };

/** Show a line as it would stand with `mass` in it; `live` says that this is not recorded. */
export function showStanding(figures, mass, live) {
  const band = bandOf(figures);
  const at = place(band, mass);
  figures.querySelector(".now").setAttribute("d", `M${at} 4V40`);
  figures.querySelector(".filled").setAttribute("width", String(at));
  figures.querySelector(".so-far").textContent = `${grams(mass)}\u00a0g`;
  figures.querySelector(".difference").textContent = signed(mass - band.target);
  const { state, sentence } = standing(band, mass);
  const [kind, word] = TAGS[state];
  const tag = figures.querySelector(".words .tag");
  tag.className = `tag ${kind}`.trim();
  tag.textContent = live && state === "done" ? "In the band" : word;
  figures.querySelector(".words .sentence").textContent = live ? `${sentence} — ${live}` : sentence;
}
