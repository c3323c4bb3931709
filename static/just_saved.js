// The strip that says what was just saved, with one tap that undoes it: it goes by itself, but not from under a finger or
// the focus. While the shop computer does not answer, it offers the same for an adjustment that waits on this tablet.

import { fieldOf, held, waiting } from "./outbox.js";
import { newKey } from "./read_order.js";
import { say } from "./words.js";

const SHOWN_MS = 10000;
const AGAIN_MS = 500;

/** @type {number | undefined} */
let timer;

/** @returns {HTMLElement | null} */
function strip() {
  return document.querySelector(".just-saved");
}

/** @param {HTMLElement} shown */
function empty(shown) {
  shown.replaceChildren();
  delete shown.dataset.left;
  delete shown.dataset.key;
}

function clear() {
  const shown = strip();
  if (shown?.matches(":focus-within, :active")) timer = setTimeout(clear, AGAIN_MS);
  else if (shown) empty(shown);
}

/** Takes the strip away once its time is over. */
export function fade() {
  const shown = strip();
  clearTimeout(timer);
  if (shown?.dataset.left) timer = setTimeout(clear, Number(shown.dataset.left));
}

/** What a strip undoes or corrects, "" for nothing. @param {Element} one */
function about(one) {
  const move = /** @type {HTMLInputElement | null} */ (one.querySelector("input[name=move]"));
  return move?.value ?? one.querySelector("a")?.getAttribute("href") ?? "";
}

/**
 * Takes over the strip of a newer page. What says the same stays, with the focus in it and its time running.
 * @param {Element} old
 * @param {Element} fresh
 */
export function renewStrip(old, fresh) {
  if (!(old instanceof HTMLElement) || !(fresh instanceof HTMLElement) || about(old) === about(fresh)) return;
  if (!about(fresh)) {
    clearTimeout(timer);
    clear();
    return;
  }
  old.replaceChildren(...fresh.childNodes);
  delete old.dataset.key;
  if (fresh.dataset.left) old.dataset.left = fresh.dataset.left;
  else delete old.dataset.left;
  htmx.process(old);
  fade();
}

/** The form that takes a move back, which is named by its key. @param {import("./queue.js").Write} move */
function undoing(move) {
  const form = document.createElement("form");
  form.method = "post";
  form.action = `${move.url}/taken-back`;
  for (const [name, value] of Object.entries({ key: newKey(), move: move.key, by: fieldOf(move, "by"), undo: "1" })) {
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name, value });
    form.append(field);
  }
  const button = document.createElement("button");
  button.className = "button";
  button.textContent = say("undo");
  form.append(button);
  return form;
}

/** An adjustment that waits on this tablet may be taken back for as long as a saved one. */
function offer() {
  const shown = strip();
  const writes = waiting();
  if (!shown || !held.slow) return;
  const move = writes.findLast((one) => one.url.endsWith("/moves"));
  const undone = writes.some((one) => one.url.endsWith("/moves/taken-back") && fieldOf(one, "move") === move?.key);
  const left = move ? move.at + SHOWN_MS - Date.now() : 0;
  if (!move || undone || left <= 0 || left > SHOWN_MS) {
    if (shown.dataset.key) empty(shown);
    return;
  }
  if (shown.dataset.key === move.key) return;
  const words = document.createElement("p");
  words.textContent = say("not-sent-yet", { what: fieldOf(move, "says") || say("write-moves", { count: 1 }) });
  shown.replaceChildren(words, undoing(move));
  shown.dataset.key = move.key;
  shown.dataset.left = `${left}`;
  fade();
}

document.addEventListener("outbox:changed", offer);
document.addEventListener("htmx:load", fade);
fade();
