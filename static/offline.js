// The page shown instead of any other while the shop computer does not answer: lists what waits, and opens the page that
// was asked for once it answers.

import { reached, waiting } from "./outbox.js";
import { counted, named } from "./status_bar.js";
import { say } from "./words.js";

const LOOK_MS = 3000;

function draw() {
  const waits = waiting();
  const said = document.getElementById("held");
  const list = document.getElementById("waits");
  if (!said || !list) return;
  said.textContent = waits.length ? say("sent-in-order", { what: counted(waits) }) : say("nothing-waiting");
  const lines = waits.map((write) => {
    const line = document.createElement("li");
    line.textContent = named(write);
    return line;
  });
  list.replaceChildren(...lines);
}

/** Opens what was asked for as soon as anything answers; the outbox of that page sends what waits. */
async function look() {
  try {
    await fetch("/offline", { cache: "no-store", signal: AbortSignal.timeout(LOOK_MS) });
    location.reload();
  } catch {
    setTimeout(look, LOOK_MS);
  }
}

document.addEventListener("outbox:changed", draw);
if (location.pathname !== "/offline") {
  reached(false);
  setTimeout(look, LOOK_MS);
}
