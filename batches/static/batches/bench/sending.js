/* How an entry of an outbox goes to the server: as the form itself would send it, and asking for an answer in JSON.

   Its age is sent instead of its time, so that a clock of this machine that goes wrong does no harm. */

/** A function that posts the `fields` of an entry of the outbox to `address`; a redirect (to the sign-in page) is not followed. */
export function poster(address, fields) {
  return (entry, signal) => {
    const body = new URLSearchParams(fields.map((name) => [name, entry[name] ?? ""]));
    body.set("age", String(Math.max(0, Math.floor((Date.now() - entry.made) / 1000))));
    const headers = { Accept: "application/json", "X-CSRFToken": token() };
    return fetch(address, { method: "POST", body, headers, signal, redirect: "manual" });
  };
}

/* Signing in again in another tab changes the token, so the cookie's is the one that holds. */
function token() {
  const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return cookie ? cookie[1] : document.querySelector("#weigh [name=csrfmiddlewaretoken]").value;
}
