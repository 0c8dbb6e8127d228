/* The bench: confirming the lot, taking a weight, and showing where everything stands. What is not saved yet lies in the
   outbox; what is half entered in the drafts; what the server says of the batch in the parts marked data-live. */

import { bandOf, showStanding, standing } from "./band.js";
import { BalancePanel } from "./balance_panel.js";
import { Drafts } from "./drafts.js";
import { wireKeypad } from "./keypad.js";
import { replaceLive } from "./live.js";
import { isLot, showStop } from "./lot_in_hand.js";
import { Outbox } from "./outbox.js";
import { fromGrams, grams, typedWeight } from "./readings.js";
import { listenForScans } from "./scans.js";
import { sender } from "./sending.js";
import { figure, questionAbout, unitWanted } from "./slips.js";
import { showUnsaved } from "./unsaved.js";

const POLL_MS = 4000;

const bench = document.getElementById("bench");
const form = document.getElementById("weigh");
const at = (id) => document.getElementById(id);
const takes = () => [...document.querySelectorAll(".take")];
const take = (position) => document.querySelector(`.take[data-of="${position}"]`);
const figures = (position) => at(`figures-${position}`);
const drafts = new Drafts(bench.dataset.member, bench.dataset.batch);

let current = takes().find((section) => !section.hidden)?.dataset.of ?? "";
let how = "";
let lasting = true;
let balance = null;

/* --- what the line holds, what waits included --- */

const waitingFor = (position) => {
  const recorded = new Set(figures(position).dataset.operations.split(" "));
  const open = outbox.waiting().filter((entry) => entry.position === position && !recorded.has(entry.operation));
  return open.reduce((sum, entry) => sum + BigInt(entry.micrograms), 0n);
};
const holds = (position) => bandOf(figures(position)).weighed + waitingFor(position);
const bandNow = (position) => ({ ...bandOf(figures(position)), before: holds(position) });
const isOpen = (position) => ["open", "begun"].includes(standing(bandOf(figures(position)), holds(position)).state);

function showLine(position) {
  const waits = waitingFor(position);
  markUnsaved(position, waits > 0n);
  const typed = position === current ? typedWeight(at("weight")?.value ?? "") : {};
  const read = position === current ? balance?.live : null;
  if (typed.micrograms) showStanding(figures(position), holds(position) + typed.micrograms, "typed, not recorded yet");
  else if (read) showStanding(figures(position), holds(position) + read, "on the balance, not recorded yet");
  else showStanding(figures(position), holds(position), waits ? `${grams(waits)} g of it not saved yet` : "");
}

function markUnsaved(position, waits) {
  const tag = at(`goto-${position}`).querySelector(".tag");
  tag.dataset.word ??= tag.textContent;
  tag.textContent = waits ? "not saved yet" : tag.dataset.word;
}

function say(sentence) {
  const said = at("said");
  if (said && said.textContent !== sentence) said.textContent = sentence;
}

function tell(id, sentence, kind = "") {
  const told = at(id);
  told.textContent = sentence;
  told.className = kind;
}

/* --- going from line to line --- */

function goTo(position, focus = true) {
  if (!take(position)) return;
  current = position;
  for (const part of document.querySelectorAll("[data-of]")) part.hidden = part.dataset.of !== position;
  markCurrent(document);
  if (form) {
    form.elements.position.value = position;
    const draft = drafts.of(position);
    how = draft.how ?? "";
    at("lot-in-hand").value = draft.lot ?? "";
    at("weight").value = draft.weight ?? "";
    for (const id of ["stop", "question"]) at(id).hidden = true;
    tell("weight-told", "");
    showConfirmed();
  }
  history.replaceState(null, "", `?line=${position}`);
  showLine(position);
  if (focus) take(position).querySelector("h2").focus();
}

function markCurrent(within) {
  for (const link of within.querySelectorAll("#bench-list a")) {
    if (link.dataset.line === current) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  }
}

function nextOpen() {
  const order = takes().map((section) => section.dataset.of);
  const from = order.indexOf(current) + 1;
  return [...order.slice(from), ...order.slice(0, from)].find((position) => position !== current && isOpen(position));
}

/* --- the lot in hand --- */

function confirmLot(text, by, alternative = "") {
  const wanted = take(current).dataset.lot;
  if (take(current).hasAttribute("data-stopped")) return stop(`Lot ${wanted} is on hold; nothing of it can be recorded.`);
  if (!isLot(wanted, text, alternative)) return wrongLot(text, alternative);
  how = by;
  at("stop").hidden = true;
  at("lot-in-hand").value = wanted;
  keepDraft();
  showConfirmed();
  at("weight").focus();
  return true;
}

function showConfirmed() {
  const words = how === "scan" ? "Confirmed by a scan." : how === "typed" ? "Confirmed, typed and not scanned." : "";
  tell("lot-told", words, words ? "right" : "");
  form.classList.toggle("confirmed", Boolean(words));
}

function wrongLot(text, alternative) {
  const own = takes().find((section) => isLot(section.dataset.lot, text, alternative));
  const { lot, title } = take(current).dataset;
  if (own) {
    return stop(
      `Line ${current} takes ${lot} (${title}); ${own.dataset.lot} (${own.dataset.title}) is in hand. Nothing was recorded.`,
      own.dataset.of,
    );
  }
  stop(`“${text.slice(0, 40)}” is not ${lot} (${title}), which line ${current} takes. Nothing was recorded.`);
  const asked = current;
  const address = `${bench.dataset.lotAt}?${new URLSearchParams({ position: current, text })}`;
  fetch(address, { headers: { Accept: "application/json" }, redirect: "manual" })
    .then((response) => response.json())
    .then((answer) => {
      if (answer.outcome === "refused" && asked === current && !how) stop(answer.sentence);
    })
    .catch(() => { /* the sentence that stands says enough */ });
  return false;
}

function stop(sentence, otherLine = "") {
  how = "";
  at("lot-in-hand").value = "";
  keepDraft();
  showConfirmed();
  showStop(sentence, otherLine);
  at("lot-in-hand").focus();
  return false;
}

/* --- the weight --- */

function keepDraft() {
  const lot = how ? at("lot-in-hand").value : "";
  const weight = at("weight").value;
  drafts.keep(current, lot || weight ? { lot, how, weight } : null);
}

function refuseWeight(sentence, id = "weight") {
  tell("weight-told", sentence, "fault");
  at(id).focus();
}

function lotIsConfirmed() {
  if (how) return true;
  const typed = at("lot-in-hand").value.trim();
  if (typed) return confirmLot(typed, "typed");
  tell("lot-told", "First scan or type the lot in hand.", "fault");
  at("lot-in-hand").focus();
  return false;
}

function recordTyped() {
  if (!lotIsConfirmed()) return;
  const weight = at("weight").value.trim();
  const read = typedWeight(weight);
  if (read.fault) return refuseWeight(read.fault);
  const band = bandNow(current);
  const wanted = unitWanted(band, read.micrograms, read.unit);
  if (wanted) return refuseWeight(wanted);
  const question = questionAbout(band, read.micrograms);
  let again = "";
  if (question) {
    const asked = at("question").hidden || at("question").dataset.of !== `${current} ${weight}`;
    if (asked) return ask(question, weight);
    again = at("again").value.trim();
    const second = typedWeight(again);
    if (second.fault) return refuseAgain(second.fault);
    if (second.micrograms !== read.micrograms) {
      return refuseAgain(`First ${weight}, then ${again}: these are not the same. Type it anew.`);
    }
  }
  put({ weight, again, micrograms: String(read.micrograms) });
}

function ask(question, weight) {
  const box = at("question");
  box.dataset.of = `${current} ${weight}`;
  at("question-words").textContent = `${figure(typedWeight(weight).micrograms)} g for line ${current}? ${question}`;
  at("again").value = "";
  box.hidden = false;
  tell("weight-told", "");
  at("again").focus();
}

function refuseAgain(sentence) {
  at("question-words").textContent = sentence;
  at("again").value = "";
  at("again").focus();
}

function put(told) {
  const position = current;
  const band = bandNow(position);
  const total = band.before + BigInt(told.micrograms);
  lasting = outbox.add({
    ...told,
    position,
    lot: take(position).dataset.lot,
    seen: `${String(band.before).padStart(7, "0").slice(0, -6)}.${String(band.before).padStart(7, "0").slice(-6)}`,
  });
  at("weight").value = at("again").value = "";
  at("question").hidden = true;
  tell("weight-told", "");
  const amount = `${grams(BigInt(told.micrograms))} g for line ${position}`;
  const { state } = standing(band, total);
  if (state === "done") {
    how = "";
    at("lot-in-hand").value = "";
    keepDraft();
    const next = nextOpen();
    if (next) {
      goTo(next, false);
      at("lot-in-hand").focus();
      return say(`${amount}: within the band. Next is line ${next}, ${take(next).dataset.title}.`);
    }
    showConfirmed();
    showLine(position);
    take(position).querySelector("h2").focus();
    return say(`${amount}: within the band. Every line is poured.`);
  }
  keepDraft();
  showLine(position);
  at("weight").focus();
  return say(state === "over" ? `${amount}: too much is in. The ways on come when it is saved.` : `${amount}: more is to pour.`);
}

/* --- to the server and back --- */

function settled(answer, entry) {
  if (answer.outcome === "recorded") {
    say(`Saved. ${answer.sentence}`);
    applyLive(answer.live);
    if (standing(bandOf(figures(entry.position)), holds(entry.position)).state === "over") meetWays();
  } else {
    say(`Not recorded: ${answer.sentence}`);
  }
}

/* The ways on get the focus when nobody is in the middle of typing something. */
function meetWays() {
  const head = at("ways-head");
  const typing = at("weight").value || (!how && at("lot-in-hand").value);
  if (head && !typing) head.focus();
}

function changed(state) {
  if (!form) return;
  const entries = outbox.entries();
  const words = (entry) => {
    const amount = `${grams(BigInt(entry.micrograms))} g`;
    const typed = entry.weight && typedWeight(entry.weight).unit ? ` (typed as ${entry.weight})` : "";
    return `Line ${entry.position}, ${take(entry.position)?.dataset.title ?? entry.lot}: ${amount}${typed}`;
  };
  const drop = (entry) => {
    outbox.drop(entry.operation);
    say("Put away; it is not in the record.");
    take(current).querySelector("h2").focus();
  };
  showUnsaved({ entries, state, lasting, told: words, again: outbox.again.bind(outbox), drop });
  for (const section of takes()) showLine(section.dataset.of);
}

function applyLive(html) {
  replaceLive(html, (part) => {
    if (part.dataset.of) part.hidden = part.dataset.of !== current;
    if (part.id === "bench-list") markCurrent(wrapped(part));
  });
  if (form && at("bench-state").dataset.open === "no") form.hidden = true;
  for (const section of takes()) showLine(section.dataset.of);
}

function wrapped(part) {
  const shell = document.createDocumentFragment();
  shell.append(part);
  return shell;
}

async function poll() {
  if (document.visibilityState === "visible") await look();
  setTimeout(poll, POLL_MS);
}

async function look() {
  const before = figures(current)?.dataset.weighed;
  const asked = new URLSearchParams({ edition: at("bench-state").dataset.edition, line: current });
  try {
    const response = await fetch(`${bench.dataset.liveAt}?${asked}`, { redirect: "manual" });
    if (response.type === "opaqueredirect") return changed((outbox.state = "signed-out"));
    if (outbox.state === "unreachable" && !outbox.waiting().length) changed((outbox.state = ""));
    if (response.status !== 200) return;
    applyLive(await response.text());
    const now = figures(current)?.dataset.weighed;
    if (now !== before) {
      say(`Somebody weighed at this line: it held ${figure(fromGrams(before))} g and holds ${figure(fromGrams(now))} g now.`);
    }
  } catch {
    changed((outbox.state = "unreachable"));
  }
}

/* --- wiring --- */

const outbox = new Outbox({
  member: bench.dataset.member,
  batch: bench.dataset.batch,
  send: sender(bench.dataset.weigh),
  settled,
  changed,
});

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[data-line]");
  if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    goTo(link.dataset.line);
  }
  if (event.target.closest?.("#close-batch, #bench-ways button") && outbox.entries().length) {
    event.preventDefault();
    at("unsaved-head").focus();
  }
});

function wireForm() {
  listenForScans();
  document.addEventListener("still:scan", (event) => {
    event.preventDefault();
    if (!form.hidden) confirmLot(event.detail.text, "scan", event.detail.alternative);
  });
  for (const id of ["confirm-lot", "not-so"]) at(id).hidden = false;
  at("confirm-lot").addEventListener("click", () => lotIsConfirmed());
  at("lot-in-hand").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    if (how) at("weight").focus();
    else lotIsConfirmed();
  });
  at("lot-in-hand").addEventListener("input", () => {
    how = "";
    keepDraft();
    showConfirmed();
  });
  at("weight").addEventListener("input", () => {
    at("question").hidden = true;
    const read = typedWeight(at("weight").value);
    tell("weight-told", read.micrograms && read.unit && read.unit !== "g" ? `${at("weight").value.trim()} is ${grams(read.micrograms)} g.` : "");
    keepDraft();
    showLine(current);
  });
  at("not-so").addEventListener("click", () => {
    at("question").hidden = true;
    at("weight").value = "";
    keepDraft();
    showLine(current);
    at("weight").focus();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    recordTyped();
  });
  wireKeypad(form);
  balance = new BalancePanel({
    shown: () => at("weight").value || showLine(current),
    ready: lotIsConfirmed,
    take: put,
    failed: () => say("No balance was connected. A typed weight always works."),
  });
  goTo(current, false);
  if (drafts.of(current).weight) say("What you had typed is here again; it is not recorded yet.");
  changed("");
  outbox.run();
}

if (form) wireForm();
if (bench.querySelector(".take")) setTimeout(poll, POLL_MS);
