/* Weighings that the server has not confirmed yet, kept in this browser until it has.

   Each lies under a key of its own, so that two tabs never overwrite each other, and carries the name of its operation:
   the server records an operation once, so sending again after a lost answer does no harm. They are sent one at a time in
   the order they were made. An answer that refuses one keeps it here, shown with its reason, until somebody decides. */

const WEIGHINGS = "weighing";
const PATIENCE_MS = 15_000;
const FIRST_WAIT_MS = 700;
const LONGEST_WAIT_MS = 12_000;

export class Outbox {
  #prefix;
  #memory = new Map();
  #sending = false;
  #wait = FIRST_WAIT_MS;
  #timer = 0;

  /** `send(entry, signal)` gives a Response; `settled(answer, entry)` is told of each recorded or refused one;
      `changed(state)` of every change, with `state` one of "", "unreachable", "signed-out" or "stale"; `kind` parts one outbox from another. */
  constructor({ kind = WEIGHINGS, member, batch, send, settled, changed }) {
    Object.assign(this, { send, settled, changed });
    this.#prefix = prefix(kind, member, batch);
    this.state = "";
    window.addEventListener("online", () => this.run({ now: true }));
    window.addEventListener("offline", () => this.#tell("unreachable"));
    window.addEventListener("storage", (event) => event.key?.startsWith(this.#prefix) && this.changed(this.state));
  }

  /** All that is kept, oldest first. */
  entries() {
    const found = [...this.#memory.values()];
    try {
      for (let place = 0; place < localStorage.length; place += 1) {
        const key = localStorage.key(place);
        if (key.startsWith(this.#prefix)) found.push(JSON.parse(localStorage.getItem(key)));
      }
    } catch { /* a browser that keeps nothing */ }
    return found.sort((one, other) => one.made - other.made || (one.operation < other.operation ? -1 : 1));
  }

  waiting() {
    return this.entries().filter((entry) => !entry.refused);
  }

  /** Keep a weighing and send it. Returns whether it also outlasts this page. */
  add(told) {
    const entry = { ...told, operation: newOperation(), made: Date.now() };
    const lasting = this.#keep(entry);
    this.changed(this.state);
    this.run({ now: true });
    return lasting;
  }

  /** Send a refused one again, changed. */
  again(entry, changes) {
    this.#keep({ ...entry, ...changes, refused: undefined });
    this.changed(this.state);
    this.run({ now: true });
  }

  drop(operation) {
    this.#memory.delete(operation);
    try { localStorage.removeItem(this.#prefix + operation); } catch { /* was never there */ }
    this.changed(this.state);
  }

  /** Send what waits, one after the other. */
  async run({ now = false } = {}) {
    if (now) this.#wait = FIRST_WAIT_MS;
    if (this.#sending) return;
    this.#sending = true;
    clearTimeout(this.#timer);
    try {
      for (let [entry] = this.waiting(); entry; [entry] = this.waiting()) {
        if (!(await this.#settle(entry))) {
          this.#timer = setTimeout(() => this.run(), this.#wait);
          this.#wait = Math.min(this.#wait * 2, LONGEST_WAIT_MS);
          return;
        }
        this.#wait = FIRST_WAIT_MS;
      }
    } finally {
      this.#sending = false;
    }
  }

  /* Whether the server has answered for this one, either way. */
  async #settle(entry) {
    const answer = await this.#answer(entry);
    if (!answer) return false;
    this.state = "";
    if (answer.outcome === "recorded") {
      this.drop(entry.operation);
    } else {
      const { code, sentence, holds } = answer;
      this.#keep({ ...entry, refused: { code, sentence, holds } });
    }
    this.settled(answer, entry);
    this.changed(this.state);
    return true;
  }

  async #answer(entry) {
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
    try {
      const response = await this.send(entry, patience.signal);
      if (response.type === "opaqueredirect") return this.#tell("signed-out");
      if (response.headers.get("Content-Type")?.startsWith("application/json")) return await response.json();
      return this.#tell(response.status === 403 ? "stale" : "unreachable");
    } catch {
      return this.#tell("unreachable");
    } finally {
      clearTimeout(timer);
    }
  }

  #tell(state) {
    this.state = state;
    this.changed(state);
    return null;
  }

  #keep(entry) {
    const key = this.#prefix + entry.operation;
    const text = JSON.stringify(entry);
    try {
      localStorage.setItem(key, text);
      if (localStorage.getItem(key) === text) return true;
    } catch { /* full, or not allowed to keep anything */ }
    this.#memory.set(entry.operation, entry);
    return false;
  }
}

function prefix(kind, member, batch) {
  return `still-${kind}:${member}:${batch}:`;
}

/** Whether any weighing of a batch waits in this browser. */
export function somethingWaits(member, batch) {
  try {
    return Object.keys(localStorage).some((key) => key.startsWith(prefix(WEIGHINGS, member, batch)));
  } catch {
    return false;
  }
}

/* A name that nothing else has. `randomUUID` is missing where the page comes over plain HTTP. */
function newOperation() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return `bench-${[...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("")}`;
}
