/* Telling a scanner from a hand, wherever the focus is.

   A keyboard-wedge scanner types like a person, only faster, and mostly ends with Enter or Tab. A burst of keys that is on
   the whole faster than any hand (single gaps may be longer, as over the air) is taken as one scan and told by `still:scan`; what it typed into a field on the way is taken out again,
   and its Enter neither sends a form nor presses a button. A scanner set to another keyboard layout sends the right keys
   and the wrong letters, so a burst is also read by the keys themselves, as on a US keyboard (`alternative`). */

const LONGEST_GAP_MS = 120;
const FASTEST_MEAN_MS = 40;
const SHORTEST = 6;
const SILENCE_MS = 160;

let keys = "";
let codes = "";
let began = 0;
let last = 0;
let before = null;
let silence = 0;

/** Begin to listen; once per page. */
export function listenForScans() {
  document.addEventListener("keydown", onKey, { capture: true });
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.isComposing || event.repeat) return;
  const ends = event.key === "Enter" || event.key === "Tab";
  if (event.key.length !== 1 && !ends) return;
  const quick = keys && event.timeStamp - last < LONGEST_GAP_MS;
  if (ends) {
    if (!quick || !isBurst(last)) return forget();
    event.preventDefault();
    event.stopImmediatePropagation();
    return tell();
  }
  if (!quick) begin(event);
  keys += event.key;
  codes += letterOf(event);
  last = event.timeStamp;
  clearTimeout(silence);
  silence = setTimeout(afterSilence, SILENCE_MS);
}

function begin(event) {
  forget();
  began = event.timeStamp;
  const field = document.activeElement;
  if (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement || field instanceof HTMLSelectElement) {
    before = { field, value: field.value, from: field.selectionStart, to: field.selectionEnd };
  }
}

function forget() {
  clearTimeout(silence);
  keys = codes = "";
  before = null;
}

/* A scanner without an ending key is known by the shape of a lot number alone. */
function afterSilence() {
  const shape = /^\d\d-\d{4,9}-[0-9A-Z]$/i;
  if (isBurst(last) && (shape.test(keys) || shape.test(codes))) tell();
}

function isBurst(end) {
  return keys.length >= SHORTEST && (end - began) / (keys.length - 1) < FASTEST_MEAN_MS;
}

function tell() {
  const detail = { text: keys.trim(), alternative: codes.trim() };
  if (before?.field.isConnected) {
    before.field.value = before.value;
    if (before.from !== null && before.field.setSelectionRange) before.field.setSelectionRange(before.from, before.to);
    before.field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  forget();
  document.dispatchEvent(new CustomEvent("still:scan", { detail, bubbles: true, cancelable: true }));
}

/* The letter that the pressed key has on a US keyboard. */
function letterOf(event) {
  const code = event.code || "";
  if (/^Key[A-Z]$/.test(code)) return code.slice(3);
  if (/^(Digit|Numpad)\d$/.test(code)) return code.slice(-1);
  return { Minus: "-", NumpadSubtract: "-", Slash: "/", Period: ".", Semicolon: ":" }[code] ?? event.key;
}
