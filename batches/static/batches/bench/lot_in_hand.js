/* Whether the lot in hand is the right one, and the stop when it is not: a sentence that cannot be missed, and the way to
   the line that takes the lot, if one does. */

/** Whether one of the texts told is this lot: its number in any spelling, the address of its page, or its label's code.
    A code says whose lot it is too, since another studio's label may bear the same number. */
export function isLot(lot, ...told) {
  return told.some((text) => text && bare(text) === bare(lot));
}

const LINK = /\/01\/(\d{14})\/10\/([^/?#]+)\/?(?:\?[^#]*)?$/;
const ELEMENTS = /^(?:\][A-Za-z]\d)?\(?01\)?(\d{14})(?:\(?17\)?\d{6})?\(?10\)?([^()\x1d]+)/;

function bare(text) {
  const code = LINK.exec(text) || ELEMENTS.exec(text);
  if (code) return code[1] === document.getElementById("bench")?.dataset.item ? spelled(code[2]) : "";
  return spelled(text);
}

function spelled(text) {
  return text.replace(/\/+$/, "").split("/").pop().replace(/[\s\-–]/g, "").toUpperCase();
}

/** Say why the work stops; `otherLine` is the line that takes the lot in hand, "" when none does. */
export function showStop(sentence, otherLine) {
  const box = document.getElementById("stop");
  const words = document.createElement("p");
  words.append(Object.assign(document.createElement("strong"), { textContent: "Stop." }), ` ${sentence}`);
  box.replaceChildren(words);
  if (otherLine) {
    const link = Object.assign(document.createElement("a"), { className: "button quiet", href: `?line=${otherLine}` });
    link.dataset.line = otherLine;
    link.textContent = `Go to line ${otherLine}, which takes it`;
    box.append(link);
  }
  box.hidden = false;
}
