/* When a typed weight has to be asked for a second time: the rules and sentences of batches/calc/typed_slips.py, so that
   they hold without a connection too. All amounts are micrograms (BigInt). */

const NAMES = [
  [10n, "ten times", "a tenth of"],
  [100n, "a hundred times", "a hundredth of"],
  [1000n, "a thousand times", "a thousandth of"],
];

/** A mass as it stands in sentences: exactly, without trailing zeros. */
export function figure(micrograms) {
  const digits = String(micrograms).padStart(7, "0");
  return `${digits.slice(0, -6)}.${digits.slice(-6)}`.replace(/\.?0+$/, "");
}

/** The sentence that asks for a unit, "" when none is needed. `band` is {target, smallest, largest, before}. */
export function unitWanted(band, mass, unit) {
  const open = openMass(band);
  if (unit || mass <= 500n * open || mass >= 2000n * open) return "";
  return (
    `${figure(mass)} without a unit is about a thousand times the ${figure(open)} g to pour. ` +
    `Write ${figure(mass)} mg, or ${figure(mass)} g if that is what was poured.`
  );
}

/** The sentence that asks for a typed mass a second time, "" when it leaves its line within the band. */
export function questionAbout(band, mass) {
  const holds = band.before + mass;
  if (band.smallest <= holds && holds <= band.largest) return "";
  const told =
    holds > band.largest
      ? `It would hold ${figure(holds)} g; at most ${figure(band.largest)} g are allowed.`
      : `It would hold ${figure(holds)} g; ${figure(band.target - holds)} g would still be to pour.`;
  return `${told}${slip(band, mass)} Type the weight a second time if it is right.`;
}

function openMass(band) {
  return band.target > band.before ? band.target - band.before : band.target;
}

/* Within a fifth of 10, 100 or 1000 times, or of that part. */
function slip(band, mass) {
  const open = openMass(band);
  const about = (greater, smaller, factor) =>
    5n * greater >= 4n * factor * smaller && 5n * greater <= 6n * factor * smaller;
  for (const [factor, more, less] of NAMES) {
    const words = about(mass, open, factor) ? more : about(open, mass, factor) ? less : "";
    if (words) return ` That is about ${words} the ${figure(open)} g to pour: look where the point stands.`;
  }
  return "";
}
