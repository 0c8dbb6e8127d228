/* A lot is dragged onto the line it is to be poured from. The list of lots beside each line does the same by keys; what
   is dropped is chosen in it, and "Plan again" sends it. */

const lines = () => [...document.querySelectorAll("tr[data-takes]")];
const list = (line) => line.querySelector("select");
const said = document.getElementById("lot-said");
let held = null;

function chips(line) {
  const box = Object.assign(document.createElement("ul"), { className: "lots unprinted" });
  for (const option of [...list(line).options].filter((one) => one.value)) {
    const chip = Object.assign(document.createElement("li"), { draggable: true, textContent: option.text });
    chip.dataset.lot = option.value;
    chip.addEventListener("dragstart", (event) => {
      held = option.value;
      event.dataTransfer.setData("text/plain", option.text);
      event.dataTransfer.effectAllowed = "link";
      for (const other of lines()) other.classList.toggle("takes", fits(other));
    });
    chip.addEventListener("dragend", letGo);
    box.append(chip);
  }
  // The list says the same to those who do not drag.
  box.setAttribute("aria-hidden", "true");
  list(line).after(box);
}

const fits = (line) => [...list(line).options].some((option) => option.value === held);

function letGo() {
  held = null;
  for (const line of lines()) line.classList.remove("takes");
}

function mark(line) {
  for (const chip of line.querySelectorAll(".lots li")) {
    chip.classList.toggle("chosen", chip.dataset.lot === list(line).value);
  }
}

for (const line of lines()) {
  chips(line);
  mark(line);
  list(line).addEventListener("change", () => mark(line));
  line.addEventListener("dragover", (event) => {
    if (!held || !fits(line)) return;
    event.preventDefault();
    event.dataTransfer.dropEffect = "link";
  });
  line.addEventListener("drop", (event) => {
    if (!held || !fits(line)) return;
    event.preventDefault();
    list(line).value = held;
    list(line).dispatchEvent(new Event("change", { bubbles: true }));
    said.textContent = `${line.querySelector("th").textContent.trim()} is to be poured from ${held.split(" ")[0]}. Plan again to take it so.`;
    letGo();
    list(line).focus();
  });
}
