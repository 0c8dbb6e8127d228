/* What the pages do beyond what HTML does by itself: keys, scans, and forms that are sent once. No page needs it to
   work; it makes the work at the bench quicker. */
(() => {
  "use strict";

  const LONGEST_GAP_MS = 500;
  const SHORTEST_SCAN = 6;
  const KEYS = "still-keys";

  const search = () => document.getElementById("find");
  const typing = (element) =>
    element instanceof HTMLElement &&
    (element.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(element.tagName));

  const keysWanted = () => {
    try { return localStorage.getItem(KEYS) !== "off"; } catch { return true; }
  };

  /* A scanner types like a person, only faster, and ends with Enter. Where no field has the focus nobody types a
     word, so half a second between two keys still counts as one scan: a busy machine may take its time. Whoever listens
     to `still:scan` may have it, otherwise it is looked up. */
  let burst = "";
  let last = 0;
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    if (typing(event.target)) return;
    const now = event.timeStamp;
    const quick = now - last < LONGEST_GAP_MS;
    last = now;
    if (event.key === "Enter") {
      const text = burst;
      burst = "";
      if (!quick || text.length < SHORTEST_SCAN) return;
      event.preventDefault();
      const told = new CustomEvent("still:scan", { detail: { text }, cancelable: true, bubbles: true });
      if (document.dispatchEvent(told) && search()) {
        location.assign(`${search().form.action}?q=${encodeURIComponent(text)}`);
      }
      return;
    }
    if (event.key.length !== 1) return;
    burst = quick ? burst + event.key : event.key;
    if (event.key === "/" && burst === "/" && keysWanted() && search()) {
      event.preventDefault();
      search().focus();
      search().select();
    }
  });

  /* The results under the search field: arrows go through them, Escape puts them away. */
  const results = () => [...document.querySelectorAll("#found a")];
  document.addEventListener("keydown", (event) => {
    const form = event.target instanceof Element ? event.target.closest(".find") : null;
    if (!form) return;
    if (event.key === "Escape") {
      document.getElementById("found").replaceChildren();
      search().focus();
    } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      const links = results();
      if (!links.length) return;
      event.preventDefault();
      const place = links.indexOf(document.activeElement) + (event.key === "ArrowDown" ? 1 : -1);
      (place < 0 ? search() : links[Math.min(place, links.length - 1)]).focus();
    }
  });
  document.addEventListener("focusin", (event) => {
    if (!(event.target instanceof Element) || event.target.closest(".find")) return;
    document.getElementById("found")?.replaceChildren();
  });

  /* A form on its way is not sent again by an impatient finger; the server would do it once all the same. */
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || event.defaultPrevented) return;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    for (const button of form.querySelectorAll("button")) button.setAttribute("aria-disabled", "true");
  });
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) {
      delete form.dataset.sent;
      for (const button of form.querySelectorAll("button")) button.removeAttribute("aria-disabled");
    }
  });

  /* After a form came back with faults, the first of them gets the focus. */
  document.addEventListener("DOMContentLoaded", () => {
    document.querySelector("main [aria-invalid='true']")?.focus();
    const toggle = document.getElementById("single-keys");
    if (toggle) {
      toggle.checked = keysWanted();
      toggle.addEventListener("change", () => {
        try { localStorage.setItem(KEYS, toggle.checked ? "on" : "off"); } catch { /* kept for this page only */ }
      });
    }
    for (const button of document.querySelectorAll("[data-print]")) {
      button.hidden = false;
      button.addEventListener("click", () => window.print());
    }
  });

  /* What could not be reached is said, and what stands on the page stays. */
  const say = (sentence) => {
    const flash = document.getElementById("flash");
    const told = document.createElement("p");
    told.className = "notice bad";
    told.textContent = sentence;
    flash.replaceChildren(told);
  };
  document.addEventListener("htmx:sendError", () => say("The service could not be reached. What you see is from before; try again."));
  document.addEventListener("htmx:responseError", () => say("That did not work. Reload the page and try again."));
})();
