/* Large keys on the page for a weight, for hands in gloves; they write where the weight was last being typed. */

export function wireKeypad(form) {
  const keys = form.querySelector(".keys");
  if (!keys) return;
  let field = document.getElementById("weight");
  form.addEventListener("focusin", (event) => {
    if (["weight", "again"].includes(event.target.id)) field = event.target;
  });
  keys.hidden = false;
  // The field keeps the focus, so that a screen keyboard does not come and go.
  keys.addEventListener("pointerdown", (event) => event.preventDefault());
  keys.addEventListener("click", (event) => {
    const key = event.target.closest("button")?.dataset.key;
    if (!key) return;
    const into = field.checkVisibility() ? field : document.getElementById("weight");
    into.value = key === "back" ? into.value.slice(0, -1) : into.value + key;
    into.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
