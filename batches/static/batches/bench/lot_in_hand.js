/* Whether the lot in hand is the right one, and the stop when it is not: a sentence that cannot be missed, and the way to
   the line that takes the lot, if one does. */

/** Whether one of the texts told is this lot's number, in any spelling or as the address of its page. */
export function isLot(lot, ...told) {
  return told.some((text) => text && bare(text) === bare(lot));
}

function bare(text) {
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
