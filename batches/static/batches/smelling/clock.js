/* The clocks of strips run on: the server wrote the minutes when the page was made, and this goes on from there. When a
   reminder's minute comes, it is said in the status line, where a screen reader hears it. */

const clocks = [...document.querySelectorAll("time[data-since]")];
const status = document.getElementById("reminded");

function told(minutes) {
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  return hours < 48 ? `${hours} h ${minutes % 60} min` : `${Math.floor(hours / 24)} d ${hours % 24} h`;
}

function remind(clock, minutes) {
  const waiting = (clock.dataset.remind || "").split(",").filter(Boolean).map(Number);
  const come = waiting.filter((one) => one <= minutes);
  if (!come.length || !status) return;
  clock.dataset.remind = waiting.filter((one) => one > minutes).join(",");
  const line = document.createElement("span");
  line.textContent = `Smell ${clock.dataset.name} again: ${come.at(-1)} minutes have passed.`;
  status.append(line);
}

function tick() {
  for (const clock of clocks) {
    const minutes = Math.max(0, Math.floor((Date.now() - Date.parse(clock.dataset.since)) / 60000));
    const words = told(minutes);
    if (clock.textContent !== words) clock.textContent = words;
    remind(clock, minutes);
  }
}

tick();
setInterval(tick, 1000);
