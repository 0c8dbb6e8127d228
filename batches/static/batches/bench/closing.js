/* A batch is not closed while a weighing of it waits in this browser. */
import { somethingWaits } from "./outbox.js";

const unsent = document.getElementById("unsent");
if (somethingWaits(unsent.dataset.member, unsent.dataset.batch)) unsent.hidden = false;
