/* The bench: confirming the lot, taking a weight, and showing where everything stands. What is not saved yet lies in the
   outbox; what is half entered in the drafts; what the server says of the batch in the parts marked data-live. */

import { standing } from "./band.js";
import { BalancePanel } from "./balance_panel.js";
import { Drafts } from "./drafts.js";
import { follow } from "./following.js";
import { wireKeypad } from "./keypad.js";
import { Lines, take, takes } from "./lines.js";
import { replaceLive } from "./live.js";
import { isLot, showStop } from "./lot_in_hand.js";
import { Outbox } from "./outbox.js";
import { grams, typedWeight } from "./readings.js";
import { Refusals } from "./refusals.js";
import { listenForScans } from "./scans.js";
import { poster } from "./sending.js";
import { figure, questionAbout, unitWanted } from "./slips.js";
import { showUnsaved } from "./unsaved.js";

const WEIGHING = ["operation", "position", "lot", "lot_told", "weight", "again", "reading", "seen", "expired_reason"];
const LOT_TOLD = { scan: "scanned", typed: "typed" };

const bench = document.getElementById("bench");
const form = document.getElementById("weigh");
const at = (id) => document.getElementById(id);
const { member, batch } = bench.dataset;
const drafts = new Drafts(member, batch);
const refusals = new Refusals({ member, batch, address: bench.dataset.refused });
const lines = new Lines({
  waiting: () => outbox.waiting(),
  typed: () => typedWeight(at("weight")?.value ?? "").micrograms ?? null,
  read: () => balance?.live ?? null,
});

let how = "";
let lasting = true;
let balance = null;

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
  lines.goTo(position);
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
  lines.show(position);
  if (focus) take(position).querySelector("h2").focus();
}

/* --- the lot in hand --- */

function confirmLot(text, by, alternative = "") {
  const wanted = take(lines.current).dataset.lot;
  if (take(lines.current).hasAttribute("data-stopped")) return refuseLot(text, `Lot ${wanted} is on hold; nothing of it can be recorded.`, "", "lot on hold");
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
  const { lot, title } = take(lines.current).dataset;
  if (own) {
    return refuseLot(
      own.dataset.lot,
      `Line ${lines.current} takes ${lot} (${title}); ${own.dataset.lot} (${own.dataset.title}) is in hand. Nothing was recorded.`,
      own.dataset.of,
    );
  }
  refuseLot(text, `“${text.slice(0, 40)}” is not ${lot} (${title}), which line ${lines.current} takes. Nothing was recorded.`);
  const asked = lines.current;
  const address = `${bench.dataset.lotAt}?${new URLSearchParams({ position: lines.current, text })}`;
  fetch(address, { headers: { Accept: "application/json" }, redirect: "manual" })
    .then((response) => response.json())
    .then((answer) => {
      if (answer.outcome === "refused" && asked === lines.current && !how) stop(answer.sentence);
    })
    .catch(() => { /* the sentence that stands says enough */ });
  return false;
}

/* A lot that is not the one to take: noted, and the work stops. */
function refuseLot(text, sentence, otherLine = "", kind = "wrong lot") {
  refusals.note(lines.current, kind, text, sentence);
  return stop(sentence, otherLine);
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
  drafts.keep(lines.current, lot || weight ? { lot, how, weight } : null);
}

function refuseWeight(sentence) {
  refusals.note(lines.current, "unclear weight", at("weight").value.trim(), sentence);
  tell("weight-told", sentence, "fault");
  at("weight").focus();
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
  const band = lines.band(lines.current);
  const wanted = unitWanted(band, read.micrograms, read.unit);
  if (wanted) return refuseWeight(wanted);
  const question = questionAbout(band, read.micrograms);
  let again = "";
  if (question) {
    const asked = at("question").hidden || at("question").dataset.of !== `${lines.current} ${weight}`;
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
  box.dataset.of = `${lines.current} ${weight}`;
  at("question-words").textContent = `${figure(typedWeight(weight).micrograms)} g for line ${lines.current}? ${question}`;
  refusals.note(lines.current, "outside the band", weight, question);
  at("again").value = "";
  box.hidden = false;
  tell("weight-told", "");
  at("again").focus();
}

function refuseAgain(sentence) {
  refusals.note(lines.current, "unclear weight", `${at("weight").value.trim()}, then ${at("again").value.trim()}`, sentence);
  at("question-words").textContent = sentence;
  at("again").value = "";
  at("again").focus();
}

function put(told) {
  const position = lines.current;
  const band = lines.band(position);
  const total = band.before + BigInt(told.micrograms);
  lasting = outbox.add({
    ...told,
    position,
    lot: take(position).dataset.lot,
    lot_told: LOT_TOLD[how] ?? "",
    seen: `${String(band.before).padStart(7, "0").slice(0, -6)}.${String(band.before).padStart(7, "0").slice(-6)}`,
  });
  at("weight").value = at("again").value = "";
  at("question").hidden = true;
  tell("weight-told", "");
  const amount = `${grams(BigInt(told.micrograms))} g for line ${position}`;
  const { state } = standing(band, total);
  if (state === "done") {
    const inHand = { lot: take(position).dataset.lot, by: how };
    how = "";
    at("lot-in-hand").value = "";
    keepDraft();
    const next = lines.nextOpen();
    if (next) {
      goTo(next, false);
      // One stock may go into many vials: it stays in hand as long as the next line takes the same.
      if (inHand.by && take(next).dataset.lot === inHand.lot) confirmLot(inHand.lot, inHand.by);
      else at("lot-in-hand").focus();
      return say(`${amount}: within the band. Next is line ${next}, ${take(next).dataset.title}.`);
    }
    showConfirmed();
    lines.show(position);
    take(position).querySelector("h2").focus();
    return say(`${amount}: within the band. Every line is poured.`);
  }
  keepDraft();
  lines.show(position);
  at("weight").focus();
  return say(state === "over" ? `${amount}: too much is in. The ways on come when it is saved.` : `${amount}: more is to pour.`);
}

/* --- to the server and back --- */

function settled(answer, entry) {
  if (answer.outcome === "recorded") {
    say(`Saved. ${answer.sentence}`);
    applyLive(answer.live);
    if (lines.state(entry.position) === "over") meetWays();
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
    take(lines.current).querySelector("h2").focus();
  };
  showUnsaved({ entries, state, lasting, told: words, again: outbox.again.bind(outbox), drop });
  lines.showAll();
}

function applyLive(html) {
  replaceLive(html, (part) => {
    if (part.dataset.of) part.hidden = part.dataset.of !== lines.current;
    if (part.id === "bench-list") lines.mark(wrapped(part));
  });
  if (form && at("bench-state").dataset.open === "no") form.hidden = true;
  lines.showAll();
}

function wrapped(part) {
  const shell = document.createDocumentFragment();
  shell.append(part);
  return shell;
}

function reached(state) {
  if (state === "signed-out" || state === "unreachable") changed((outbox.state = state));
  else if (outbox.state === "unreachable" && !outbox.waiting().length) changed((outbox.state = ""));
}

/* --- wiring --- */

const outbox = new Outbox({
  member,
  batch,
  send: poster(bench.dataset.weigh, WEIGHING),
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
    lines.show(lines.current);
  });
  at("not-so").addEventListener("click", () => {
    at("question").hidden = true;
    at("weight").value = "";
    keepDraft();
    lines.show(lines.current);
    at("weight").focus();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    recordTyped();
  });
  wireKeypad(form);
  balance = new BalancePanel({
    shown: () => at("weight").value || lines.show(lines.current),
    ready: lotIsConfirmed,
    take: put,
    refused: (line, why) => refusals.note(lines.current, "unfit reading", line, why),
    failed: () => say("No balance was connected. A typed weight always works."),
  });
  goTo(lines.current, false);
  if (drafts.of(lines.current).weight) say("What you had typed is here again; it is not recorded yet.");
  changed("");
  outbox.run();
  refusals.run();
}

if (form) wireForm();
if (bench.querySelector(".take")) follow({ bench, lines, fresh: applyLive, say, reached });
