/* Reading a balance through Web Serial, where the browser has it: each line it sends is told by `still:balance-line`. */

/** Whether this browser can read a balance. */
export const canRead = () => "serial" in navigator;

/** Ask for a port and tell its lines until it is taken away; rejects when none is chosen or it cannot be opened. */
export async function tellLines(baudRate) {
  const port = await navigator.serial.requestPort();
  await port.open({ baudRate });
  readUntilGone(port);
}

async function readUntilGone(port) {
  const decoder = new TextDecoder();
  let text = "";
  const reader = port.readable.getReader();
  try {
    for (let { value, done } = await reader.read(); !done; { value, done } = await reader.read()) {
      text += decoder.decode(value, { stream: true });
      const lines = text.split(/\r\n|\r|\n/);
      text = lines.pop().slice(-200);
      for (const line of lines) if (line.trim()) tell(line);
    }
  } catch { /* the cable was pulled */ }
  document.dispatchEvent(new CustomEvent("still:balance-gone"));
}

function tell(line) {
  document.dispatchEvent(new CustomEvent("still:balance-line", { detail: { line } }));
}
