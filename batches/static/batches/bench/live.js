/* Bringing the live parts of the page up to what the service says, without losing the focus. */

/** Replace every live part that differs by the one in `html`; `prepare` may change a new part before it is compared. */
export function replaceLive(html, prepare) {
  const told = new DOMParser().parseFromString(html, "text/html");
  for (const fresh of told.querySelectorAll("[data-live]")) {
    const shown = document.getElementById(fresh.id);
    if (!shown) continue;
    const part = document.importNode(fresh, true);
    prepare(part);
    if (part.isEqualNode(shown)) continue;
    const held = shown.contains(document.activeElement) ? document.activeElement.id : null;
    shown.replaceWith(part);
    window.htmx?.process(part);
    if (held !== null) (document.getElementById(held) ?? document.querySelector(".take:not([hidden]) h2"))?.focus();
  }
}
