/* What a typed weight and a line from a balance say, in exact micrograms. The rules and the sentences are those of
   inventory/calc/readings.py, where they are explained; a test feeds both the same texts. The server reads every text
   again before anything is recorded, so this is for the answer on the page, not for the record. */

const LONGEST_TEXT = 40;
const LONGEST_LINE = 80;
const LARGEST = 1_000_000_000_000n;
const PLACES = { kg: 9, g: 6, mg: 3, "µg": 0 };
const SPELLED = new Map([
  ["", "g"],
  ...["g", "G", "gram", "grams"].map((name) => [name, "g"]),
  ...["mg", "milligram", "milligrams"].map((name) => [name, "mg"]),
  ...["kg", "Kg", "KG", "kilogram", "kilograms"].map((name) => [name, "kg"]),
  ...["µg", "μg", "ug", "mcg", "microgram", "micrograms"].map((name) => [name, "µg"]),
]);
const SPACES = /[\u00a0\u2007\u2009\u202f\t]/g;
const TYPED = /^([+\-−]?) *([0-9.,]+) *([A-Za-zµμ]*)$/;
const NUMBER_IN_LINE = /(?:([+\-−]) *)?([0-9](?:[0-9.,]*[0-9])?)/g;
const BEFORE_NUMBER = /^(|[^]*[ :;=]|[^]*[A-Za-z],)$/;
const STEADY = new Set(["S", "ST", "STABLE", "N", "NT", "NET"]);
const MOVING = new Set(["D", "SD", "U", "US", "UNSTABLE", "?", "~"]);
const SAYS_STABLE = new Set(["S", "ST", "STABLE"]);

class Unclear extends Error {}

/** `{micrograms, unit}` of a typed weight (a BigInt; the unit is "" when a number stood alone), or `{fault}`: a sentence on why it is not recorded. */
export function typedWeight(text) {
  try {
    return readTyped(withPlainSpaces(text));
  } catch (fault) {
    if (fault instanceof Unclear) return { fault: fault.message };
    throw fault;
  }
}

/** What a line from a balance says, null when there is not exactly one number in it.
    `micrograms` is null when the unit is none of mass, or the number finer than a microgram (then `finer`). */
export function balanceReading(line) {
  const plain = withPlainSpaces(line);
  const numbers = [...plain.matchAll(NUMBER_IN_LINE)];
  if ([...plain].length > LONGEST_LINE || numbers.length !== 1) return null;
  const [found, sign, digits] = numbers[0];
  const before = plain.slice(0, numbers[0].index);
  const after = plain.slice(numbers[0].index + found.length);
  const stands = BEFORE_NUMBER.test(before) || (sign && /\p{L}$/u.test(before));
  if (!stands || !/^[0-9]+([.,][0-9]+)?$/.test(digits) || /^[.,]/.test(after)) return null;
  const unit = after.match(/^ *([A-Za-zµμ%/]*)/)[1];
  const rest = after.replace(/^ +/, "").slice(unit.length);
  const words = `${before} ${rest}`.toUpperCase().split(/[ ,;:=]+/).filter(Boolean);
  const known = unit ? SPELLED.get(unit) : undefined;
  const negative = sign === "-" || sign === "−";
  const [whole, decimals = ""] = digits.replace(",", ".").split(".");
  const amount = known === undefined ? null : micrograms(whole, decimals, known);
  return {
    shown: `${negative ? "−" : ""}${digits.replace(",", ".")}${unit ? ` ${unit}` : ""}`,
    negative: negative && !/^[0.,]*$/.test(digits),
    zero: /^[0.,]*$/.test(digits),
    unit,
    mass: known !== undefined,
    micrograms: amount === null ? null : negative ? -amount : amount,
    stable: words.some((word) => MOVING.has(word)) ? false : words.some((word) => SAYS_STABLE.has(word)) ? true : null,
    foreign: words.filter((word) => !STEADY.has(word) && !MOVING.has(word)),
  };
}

/** Why a reading is shown and not recorded, "" when it may be. */
export function whyNotKept(reading) {
  if (reading.foreign.length) {
    return `The balance says “${reading.foreign.join(" ")}”, which is not understood; it is not recorded.`;
  }
  if (reading.stable === false) return "The reading is still moving; it is not recorded.";
  if (!reading.unit) return "The reading has no unit; it is not recorded.";
  if (!reading.mass) return `The balance weighs in “${reading.unit}”; set it to grams. It is not recorded.`;
  if (reading.negative) return "The reading is below zero; it is not recorded.";
  if (reading.zero) return "The reading is zero; there is nothing to record.";
  if (reading.micrograms === null) return "The reading is finer than a microgram (0.000001 g); it is not recorded.";
  if (reading.micrograms > LARGEST) return "The reading is more than a tonne; it is not recorded.";
  return "";
}

/** Micrograms as grams, exactly, with at least three places: 2.500. */
export function grams(micrograms) {
  const sign = micrograms < 0n ? "−" : "";
  const digits = String(micrograms < 0n ? -micrograms : micrograms).padStart(7, "0");
  const decimals = digits.slice(-6).replace(/0+$/, "").padEnd(3, "0");
  return `${sign}${digits.slice(0, -6)}.${decimals}`;
}

/** Micrograms of grams as the server writes them (“2.500000”). */
export function fromGrams(text) {
  const [whole, decimals = ""] = text.replace("-", "").split(".");
  const amount = BigInt(whole + decimals.padEnd(6, "0").slice(0, 6));
  return text.startsWith("-") ? -amount : amount;
}

function readTyped(plain) {
  if (!plain) throw new Unclear("Type the weight, such as 2.5 or 2500 mg.");
  const letters = [...plain];
  const match = letters.length <= LONGEST_TEXT ? plain.match(TYPED) : null;
  if (!match) {
    const start = letters.slice(0, LONGEST_TEXT).join("");
    throw new Unclear(`“${start}” is not one number with a unit; write it like 2.5 or 2500 mg.`);
  }
  const [, sign, digits, spelled] = match;
  const unit = unitOf(spelled);
  const [whole, decimals] = plainNumber(digits);
  if (sign === "-" || sign === "−") {
    throw new Unclear("A weight below zero is not recorded; set the balance to zero and weigh again.");
  }
  if (/^0*$/.test(whole + decimals)) throw new Unclear("Nothing was weighed: this is zero.");
  const amount = micrograms(whole, decimals, unit);
  if (amount === null) throw new Unclear(`${digits} ${unit} is finer than a microgram (0.000001 g).`);
  if (amount > LARGEST) throw new Unclear(`${digits} ${unit} is more than a tonne.`);
  return { micrograms: amount, unit: spelled ? unit : "" };
}

/* Micrograms of whole digits and decimals in a unit, null when that is finer than one. */
function micrograms(whole, decimals, unit) {
  const kept = decimals.replace(/0+$/, "");
  return kept.length > PLACES[unit] ? null : BigInt(whole + kept.padEnd(PLACES[unit], "0"));
}

function withPlainSpaces(text) {
  return text.replace(SPACES, " ").replace(/^[ \r\n]+|[ \r\n]+$/g, "");
}

function unitOf(spelled) {
  const unit = SPELLED.get(spelled);
  if (unit !== undefined) return unit;
  if (spelled.toLowerCase() === "mg") {
    throw new Unclear(`“${spelled}” may be milligrams or a thousand kilograms; write mg in small letters.`);
  }
  throw new Unclear(`“${spelled}” is no unit of mass that is used here; write g, mg, µg or kg.`);
}

/* Whole digits and decimals of a number as typed. */
function plainNumber(digits) {
  if (/^[.,]+$/.test(digits)) throw new Unclear(`There is no number in “${digits}”.`);
  const end = digits.at(-1);
  if (end === "." || end === ",") {
    throw new Unclear(`“${digits}” ends in a “${end}”; the digits after it are missing.`);
  }
  const [whole, decimals] = parted(digits);
  if (whole.length > 1 && whole[0] === "0") {
    throw new Unclear(`“${digits}” begins with a 0 and no point after it; one may be missing. Type it anew.`);
  }
  return [whole || "0", decimals || "0"];
}

function parted(digits) {
  const marks = digits.replace(/[0-9]/g, "");
  if (!marks) return [digits, ""];
  const bare = (text) => text.replace(/[.,]/g, "");
  if (marks.length > 1 && new Set(marks).size === 1) {
    refuseNoThousands(digits, digits);
    return [bare(digits), ""];
  }
  const mark = marks.at(-1);
  const last = digits.lastIndexOf(mark);
  const whole = digits.slice(0, last);
  const decimals = digits.slice(last + 1);
  if (marks.length > 1) {
    if (marks.slice(0, -1).includes(mark)) unfitting(digits);
    refuseNoThousands(digits, whole);
    return [bare(whole), decimals];
  }
  if (mark === "," && decimals.length === 3 && /^[1-9][0-9]{0,2}$/.test(whole)) {
    throw new Unclear(
      `“${digits}” may be ${whole}.${decimals} or ${whole}${decimals}. ` +
        `Write ${whole}.${decimals} with a point, or ${whole}${decimals} without a comma.`,
    );
  }
  return [whole, decimals];
}

function refuseNoThousands(digits, whole) {
  const [first, ...others] = whole.split(/[.,]/);
  if (!/^[1-9][0-9]{0,2}$/.test(first) || others.some((group) => group.length !== 3)) unfitting(digits);
}

function unfitting(digits) {
  throw new Unclear(`“${digits}” has points and commas that do not fit together.`);
}
