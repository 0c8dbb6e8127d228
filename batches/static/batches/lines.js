/* The rows of a formula at the keyboard and under the finger. Each of these steps also works by sending the form; here
   they happen in place, so that the field in hand keeps the focus. */
(() => {
  "use strict";

  document.addEventListener("DOMContentLoaded", () => {
    const form = document.getElementById("writing");
    const body = document.getElementById("rows");
    const blank = document.getElementById("blank-row");
    if (!form || !body || !blank) return;
    const said = document.getElementById("moved");
    let dirty = form.dataset.unsaved !== undefined;
    let count = 0;

    const rows = () => [...body.rows];
    const numberOf = (row) => rows().indexOf(row) + 1;
    const cell = (row, name) => row.querySelector(`input[name="${name}"]`);
    const nameOf = (row) => cell(row, "material").value || `line ${numberOf(row)}`;
    const say = (sentence) => { said.textContent = sentence; };

    const changed = () => {
      rows().forEach((row, place) => {
        for (const nth of row.querySelectorAll(".nth")) nth.textContent = place + 1;
      });
      dirty = true;
      body.dispatchEvent(new Event("input", { bubbles: true }));
    };

    const outOfTabOrder = (row) => {
      /* The keys do what these buttons do; a line is then four stops, not seven. */
      for (const button of row.querySelectorAll("[data-move]")) button.tabIndex = -1;
    };

    const newKey = () => `n${Date.now().toString(36)}${(count += 1).toString(36)}`;

    const addAfter = (row) => {
      const key = newKey();
      const fresh = blank.content.querySelector("tr").cloneNode(true);
      for (const element of [fresh, ...fresh.querySelectorAll("*")]) {
        for (const { name, value } of [...element.attributes]) {
          if (value.includes("BLANK")) element.setAttribute(name, value.replaceAll("BLANK", key));
        }
      }
      outOfTabOrder(fresh);
      if (row) row.after(fresh); else body.append(fresh);
      changed();
      return fresh;
    };

    const move = (row, by) => {
      const all = rows();
      const to = all.indexOf(row) + by;
      if (to < 0 || to >= all.length) return;
      const held = document.activeElement;
      if (by < 0) all[to].before(row); else all[to].after(row);
      if (row.contains(held)) held.focus();
      changed();
      say(`${nameOf(row)} is line ${numberOf(row)} now.`);
    };

    const takeAway = (row) => {
      const neighbour = row.nextElementSibling || row.previousElementSibling || addAfter(row);
      const name = nameOf(row);
      row.remove();
      changed();
      cell(neighbour, "material").focus();
      say(`${name} is taken away.`);
    };

    /* What a dilution is in is most often what the one before it is in. */
    const fillSolvent = (row) => {
      const solvent = cell(row, "solvent");
      const percent = parseFloat(cell(row, "dilution").value);
      if (solvent.value || !(percent > 0 && percent < 100)) return;
      const before = rows().slice(0, numberOf(row) - 1).reverse().find((one) => cell(one, "solvent").value);
      if (!before) return;
      solvent.value = cell(before, "solvent").value;
      solvent.dispatchEvent(new Event("input", { bubbles: true }));
    };

    body.addEventListener("keydown", (event) => {
      const row = event.target.closest("tr");
      if (!row || event.isComposing) return;
      if (event.altKey && (event.key === "ArrowUp" || event.key === "ArrowDown")) {
        event.preventDefault();
        move(row, event.key === "ArrowUp" ? -1 : 1);
      } else if (event.altKey && (event.key === "Delete" || event.key === "Backspace")) {
        event.preventDefault();
        takeAway(row);
      } else if (event.key === "Enter" && event.target.matches("input") && !event.ctrlKey && !event.metaKey) {
        event.preventDefault();
        const following = row.nextElementSibling || addAfter(row);
        cell(following, "material").focus();
      }
    });
    body.addEventListener("focusout", (event) => {
      if (event.target.name === "dilution") fillSolvent(event.target.closest("tr"));
    });

    form.addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      if (button.dataset.add !== undefined) {
        event.preventDefault();
        cell(addAfter(null), "material").focus();
        return;
      }
      const row = button.closest("#rows tr");
      if (!row || !button.dataset.move) return;
      event.preventDefault();
      if (button.dataset.move === "away") takeAway(row);
      else { move(row, button.dataset.move === "up" ? -1 : 1); button.focus(); }
    });

    /* A row follows the finger that holds its grip. */
    let held = null;
    body.addEventListener("pointerdown", (event) => {
      const grip = event.target.closest("[data-grip]");
      if (!grip || event.button > 0) return;
      event.preventDefault();
      held = grip.closest("tr");
      held.classList.add("held");
      body.setPointerCapture(event.pointerId);
    });
    body.addEventListener("pointermove", (event) => {
      if (!held) return;
      const before = held.previousElementSibling;
      const after = held.nextElementSibling;
      const middle = (row) => { const box = row.getBoundingClientRect(); return box.top + box.height / 2; };
      if (before && event.clientY < middle(before)) before.before(held);
      else if (after && event.clientY > middle(after)) after.after(held);
    });
    const letGo = () => {
      if (!held) return;
      held.classList.remove("held");
      say(`${nameOf(held)} is line ${numberOf(held)} now.`);
      held = null;
      changed();
    };
    body.addEventListener("pointerup", letGo);
    body.addEventListener("pointercancel", letGo);

    /* Cells of a spreadsheet pasted into a name are read as lines, and shown before they are taken. */
    body.addEventListener("paste", (event) => {
      const text = event.clipboardData ? event.clipboardData.getData("text") : "";
      if (!/[\t\n]/.test(text.trim())) return;
      event.preventDefault();
      const field = document.getElementById("pasted");
      field.closest("details").open = true;
      field.value = text;
      field.focus();
      field.dispatchEvent(new Event("input", { bubbles: true }));
    });

    form.addEventListener("input", (event) => { if (event.isTrusted) dirty = true; });
    form.addEventListener("submit", () => { dirty = false; });
    window.addEventListener("beforeunload", (event) => { if (dirty) event.preventDefault(); });
    rows().forEach(outOfTabOrder);
    for (const element of document.querySelectorAll("[data-with-script]")) element.hidden = false;
    for (const grip of document.querySelectorAll("[data-grip]")) grip.title = "Drag to move this line";
  });
})();
