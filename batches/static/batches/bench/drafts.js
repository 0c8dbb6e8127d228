/* What stands half entered at a line, kept in this browser so that a reload or a power cut does not lose it. */

export class Drafts {
  #key;

  constructor(member, batch) {
    this.#key = `still-bench:${member}:${batch}`;
  }

  /** What was kept for a line: `{lot, how, weight}`, any of them missing. */
  of(position) {
    return this.#all()[position] ?? {};
  }

  keep(position, draft) {
    const all = this.#all();
    if (draft) all[position] = draft;
    else delete all[position];
    try {
      if (Object.keys(all).length) localStorage.setItem(this.#key, JSON.stringify(all));
      else localStorage.removeItem(this.#key);
    } catch { /* kept on the page only */ }
  }

  #all() {
    try {
      return JSON.parse(localStorage.getItem(this.#key)) ?? {};
    } catch {
      return {};
    }
  }
}
