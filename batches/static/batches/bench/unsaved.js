/* The list of weighings that are not saved yet, with why, and what can be done about each that was refused. */

const WHY = {
  "": "Sending. It is kept in this browser until the service has it.",
  unreachable: "The service cannot be reached. Go on weighing: everything is kept in this browser and sent in order when the connection is back.",
  "signed-out": "You are signed out. Sign in again in another tab; everything is kept in this browser and sent then.",
  stale: "The service does not take it from this page. Reload the page; everything is kept in this browser.",
  page: "This browser keeps nothing for pages. Do not close or reload this page until it is saved.",
};
const SECOND_LOOK = new Set(["asked-twice", "outside-tolerance"]);

/** Show the entries. `told` are the words for one entry's amount; `again`, `drop` what the buttons do. */
export function showUnsaved({ entries, state, lasting, told, again, drop }) {
  const section = document.getElementById("unsaved");
  section.hidden = !entries.length && state === "";
  document.getElementById("unsaved-head").textContent = entries.length
    ? `Not saved yet: ${entries.length} ${entries.length === 1 ? "weighing" : "weighings"}`
    : "No connection";
  const waiting = entries.some((entry) => !entry.refused);
  const why = waiting && !lasting ? `${WHY[state]} ${WHY.page}` : waiting || state ? WHY[state] : "It was not recorded; decide about it.";
  setText(document.getElementById("unsaved-why"), why);
  const list = document.getElementById("unsaved-list");
  const shown = JSON.stringify(entries);
  if (list.dataset.shown === shown) return;
  list.dataset.shown = shown;
  const held = document.activeElement?.closest("#unsaved-list") ? document.activeElement.id : "";
  list.replaceChildren(...entries.map((entry) => item(entry, told(entry), again, drop)));
  if (held) (document.getElementById(held) ?? document.getElementById("unsaved-head")).focus();
}

function item(entry, words, again, drop) {
  const element = make("li", { id: `unsaved-${entry.operation}` });
  element.append(make("p", {}, words));
  if (!entry.refused) return element;
  element.append(make("p", {}, entry.refused.sentence));
  const doings = make("p", { className: "doings" });
  if (entry.refused.code === "line-moved-on") {
    doings.append(button(entry, "add", "Record mine as well", () => again(entry, { seen: entry.refused.holds })));
  }
  if (SECOND_LOOK.has(entry.refused.code)) {
    const field = make("input", { id: `again-${entry.operation}`, className: "figure", inputMode: "decimal", autocomplete: "off" });
    field.setAttribute("aria-label", "The weight a second time");
    doings.append(field, button(entry, "send", "Record it so", () => field.value.trim() && again(entry, { again: field.value })));
  }
  if (entry.refused.code === "lot-expired") {
    const field = make("input", { id: `reason-${entry.operation}`, maxLength: 200, autocomplete: "off" });
    field.setAttribute("aria-label", "Why it is used all the same");
    const send = () => field.value.trim() && again(entry, { expired_reason: field.value });
    doings.append(field, button(entry, "send", "Record it with this reason", send));
  }
  doings.append(button(entry, "drop", "Put it away", () => drop(entry)));
  element.append(doings);
  return element;
}

function button(entry, name, words, press) {
  const made = make("button", { type: "button", id: `${name}-${entry.operation}` }, words);
  if (name === "drop") made.className = "quiet";
  made.addEventListener("click", press);
  return made;
}

function make(tag, properties, text = "") {
  const element = Object.assign(document.createElement(tag), properties);
  if (text) element.textContent = text;
  return element;
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
