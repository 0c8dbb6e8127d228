/* Learning every few seconds what others did to the batch, as long as somebody looks at the page. */

import { figures } from "./lines.js";
import { fromGrams } from "./readings.js";
import { figure } from "./slips.js";

const POLL_MS = 4000;

/** Follow the batch of `bench`: `fresh(html)` takes the live parts when they changed, `say(sentence)` is told when somebody
    else weighed at the line at hand, `reached(state)` how the service was reached: "", "unreachable" or "signed-out". */
export function follow({ bench, lines, fresh, say, reached }) {
  const look = async () => {
    const before = figures(lines.current)?.dataset.weighed;
    const edition = document.getElementById("bench-state").dataset.edition;
    const asked = new URLSearchParams({ edition, line: lines.current });
    try {
      const response = await fetch(`${bench.dataset.liveAt}?${asked}`, { redirect: "manual" });
      if (response.type === "opaqueredirect") return reached("signed-out");
      reached("");
      if (response.status !== 200) return;
      fresh(await response.text());
      const now = figures(lines.current)?.dataset.weighed;
      if (now !== before) {
        say(`Somebody weighed at this line: it held ${figure(fromGrams(before))} g and holds ${figure(fromGrams(now))} g now.`);
      }
    } catch {
      reached("unreachable");
    }
  };
  const poll = async () => {
    if (document.visibilityState === "visible") await look();
    setTimeout(poll, POLL_MS);
  };
  setTimeout(poll, POLL_MS);
}
