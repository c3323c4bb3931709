// The keys by which a pedal takes a value, and the one more that is chosen by pressing it. It is kept on this tablet, as
// the pedal is paired with it. A key that the keypad needs cannot be chosen.

import { say } from "./words.js";

const TAKES = ["Enter", " ", "PageDown", "ArrowRight", "ArrowDown"];
const CHOSEN = "pedal-key";
const NEEDED =
  /^(?:[0-9.,]|Backspace|Delete|Tab|Shift|Control|Alt|AltGraph|Meta|CapsLock|NumLock|Fn|Dead|Process|Unidentified)$/;

let choosing = false;

/** A key by its name, a letter the same with the capitals on. @param {string} key */
function named(key) {
  return key.length === 1 ? key.toLowerCase() : key;
}

/** @param {string} key @returns {boolean} whether it takes a value */
export function takes(key) {
  return TAKES.includes(key) || named(key) === localStorage.getItem(CHOSEN);
}

/** @param {string} text the name of a text @param {string} [key] */
function tell(text, key = "") {
  const says = document.querySelector("[data-pedal-says]");
  if (says) says.textContent = say(text, { key });
}

/** Shows the choice where a page has it, with what is chosen. */
function show() {
  const card = document.querySelector("[data-pedal]");
  if (!card || choosing) return;
  card.removeAttribute("hidden");
  const chosen = localStorage.getItem(CHOSEN);
  card.querySelector("[data-pedal-forget]")?.toggleAttribute("hidden", !chosen);
  tell(chosen ? "pedal-chosen" : "pedal-none", chosen ?? "");
}

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element
    ? event.target.closest("[data-pedal-choose], [data-pedal-forget]")
    : null;
  choosing = button?.matches("[data-pedal-choose]") ?? false;
  if (button?.matches("[data-pedal-forget]")) localStorage.removeItem(CHOSEN);
  if (choosing) tell("pedal-press");
  else show();
});

window.addEventListener(
  "keydown",
  (event) => {
    if (!choosing || !document.querySelector("[data-pedal]")) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (event.repeat) return;
    if (NEEDED.test(event.key) || event.ctrlKey || event.altKey || event.metaKey) {
      tell("pedal-needed", event.key);
      return;
    }
    choosing = false;
    if (event.key !== "Escape") localStorage.setItem(CHOSEN, named(event.key));
    show();
  },
  true,
);
document.addEventListener("htmx:load", show);
show();
