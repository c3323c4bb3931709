// The keypad of the reading page. Digits build the value; a key of the last column ends it and saves it. Before anything
// is typed these keys stand in full for the values about what the bore should read, and one tap saves what one says.
//
// The form works without this script: a text field and Save. This script hides the field, shows the keys, and
// submits the same form, so a listener to its submit event sees every reading. Keys pressed after that are
// ignored until a new form is in the page or `sent` is taken off the form again (form.removeAttribute("data-sent")).

import { say } from "./words.js";

const WHOLE_DIGITS = 4;

const MOMENT_MS = 700;

/** The key of the form that is entered, and when its keys may stand in full: the tap before is over by then. */
let entered = "";
let until = 0;

/** @returns {HTMLFormElement | null} the keypad that is open for a reading */
export function openKeypad() {
  return document.querySelector("form[data-keypad]:not(.is-closed)");
}

/**
 * @param {HTMLFormElement} form
 * @param {string} name
 * @returns {HTMLInputElement} one of its fields
 */
function field(form, name) {
  return /** @type {HTMLInputElement} */ (form.elements.namedItem(name));
}

/**
 * Shows what has been typed, in the entry box and in the tile of the bore.
 * @param {HTMLFormElement} form
 * @param {string} typed
 */
export function show(form, typed) {
  field(form, "value").value = typed;
  const output = form.querySelector("[data-typed]");
  if (output) output.textContent = typed;
  output?.parentElement?.classList.toggle("is-long", typed.length > 2);
  const tile = document.querySelector("[data-typing]");
  if (tile) tile.textContent = typed === "" ? "–" : typed.length > 3 ? typed : `${typed}…`;
  const key = field(form, "key")?.value ?? "";
  if (key !== entered) {
    until = performance.now() + MOMENT_MS;
    setTimeout(() => label(form), MOMENT_MS);
  }
  entered = key;
  label(form);
}

/**
 * The whole number that the keys of the last column stand for in full, "" for none: nothing is typed, the moment after
 * the tap before is over, and what the bore should read is known.
 * @param {HTMLFormElement} form
 */
function standing(form) {
  const whole = form.dataset.keys === "quarter" || form.dataset.keys === "half";
  if (!whole || field(form, "value").value !== "" || performance.now() < until || form.matches(".is-closed")) return "";
  const likely = field(form, "supersedes")?.value ? 0 : expected(form, 1);
  return likely > 0 ? `${Math.max(0, Math.round(likely - MIDDLE))}` : "";
}

/** What lies in the middle of the four quarters of a whole number. */
const MIDDLE = 0.375;

/** Says on the keys of the last column what they save. @param {HTMLFormElement} form */
function label(form) {
  const whole = standing(form);
  for (const key of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll('[data-keep^="."]'))) {
    key.textContent = `${whole}${key.dataset.keep}`;
    key.classList.toggle("is-full", whole !== "");
  }
}

/**
 * Shows a sentence below the entry, "" for none.
 * @param {HTMLFormElement} form
 * @param {string} words
 */
export function tell(form, words) {
  const message = form.querySelector("[data-message]");
  if (message) message.textContent = words;
}

/**
 * Shows a question in place of the keys.
 * @param {HTMLFormElement} form
 * @param {string} question "skip", "far", or "" for the keys
 */
export function ask(form, question) {
  form.querySelector("[data-keypad-keys]")?.toggleAttribute("hidden", question !== "");
  for (const panel of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-asked]"))) {
    panel.toggleAttribute("hidden", panel.dataset.asked !== question);
  }
  form.toggleAttribute("data-asking", question !== "");
}

/**
 * Adds one digit or the point. A key that would make no number does nothing.
 * @param {HTMLFormElement} form
 * @param {string} key
 */
function type(form, key) {
  const typed = field(form, "value").value;
  const [whole, part] = typed.split(".");
  if (key === "." && (part !== undefined || form.dataset.keys === "whole")) return;
  if (key !== "." && part === undefined && whole.length >= WHOLE_DIGITS) return;
  if (key !== "." && part !== undefined && part.length >= 2) return;
  const next = typed === "" && key === "." ? "0." : typed === "0" && key !== "." ? key : typed + key;
  show(form, next);
  tell(form, "");
}

/**
 * What a list such as "1:6.25 2:6.5" says of a bore, 0 for nothing.
 * @param {string | undefined} list
 * @param {string} bore
 */
function listed(list, bore) {
  return Number(list?.split(" ").find((one) => one.startsWith(`${bore}:`))?.split(":")[1] ?? 0);
}

/**
 * What a bore should read: what it read last with nothing moved since, else the middle of the other bores; 0 if unknown.
 * @param {HTMLFormElement} form
 * @param {number} least how many others there have to be
 */
function expected(form, least) {
  const bore = field(form, "bore")?.value;
  const tiles = [.../** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("a.tile[data-value]"))];
  const own = tiles.find((tile) => tile.dataset.bore === bore)?.dataset.value;
  const last = listed(form.dataset.last, bore);
  if (!field(form, "supersedes")?.value && (own || last)) return Number(own ?? last);
  const others = tiles.filter((tile) => tile.dataset.bore !== bore).map((tile) => Number(tile.dataset.value));
  if (others.length < least) return 0;
  others.sort((a, b) => a - b);
  return (others[(others.length - 1) >> 1] + others[others.length >> 1]) / 2;
}

/**
 * Whether a value is so far from what is expected that the page asks about it: the rule of
 * app/shop/procedure/doubtful_values.py, here because the question must come while the meter is still on the bore.
 * @param {HTMLFormElement} form
 * @param {number} value
 */
function farOff(form, value) {
  const times = Number(form.dataset.times);
  const middle = expected(form, Number(form.dataset.others));
  const most = middle > 0 ? times : Number(form.dataset.roughlyTimes);
  const should = middle || listed(form.dataset.roughly, field(form, "bore").value);
  return times > 0 && should > 0 && (value >= most * should || value * most <= should);
}

/**
 * Ends the value and submits it. Without a whole number, typed or on the key itself, a stray tap keeps nothing.
 * @param {HTMLFormElement} form
 * @param {string} end ".25" and the like; "" keeps the value as typed
 */
export function keep(form, end) {
  const typed = field(form, "value").value || (end && standing(form));
  if (typed === "") {
    tell(form, say("whole-number-first"));
    return;
  }
  const ended = end === "" ? typed.replace(/\.$/, "") : typed.split(".")[0] + end;
  const value = Number(ended);
  if (form.dataset.range && !(value >= Number(form.dataset.low) && value <= Number(form.dataset.high))) {
    tell(form, form.dataset.range);
    return;
  }
  const sure = field(form, "sure");
  if (sure && sure.value === "" && farOff(form, value)) {
    show(form, ended);
    /** @type {HTMLElement} */ (form.querySelector("[data-far]")).textContent = ended;
    ask(form, "far");
    return;
  }
  if (sure && Number(form.dataset.times) > 0) sure.value = "1"; // else the shop computer asks
  show(form, ended);
  form.setAttribute("data-sent", "");
  form.requestSubmit();
}

/**
 * @param {HTMLFormElement} form
 * @param {string} key a digit, ".", or "back"
 */
function press(form, key) {
  if (key === "back") show(form, field(form, "value").value.slice(0, -1));
  else type(form, key);
}

/**
 * Turns the plain form into the keypad.
 * @param {ParentNode} root
 */
export function dress(root) {
  for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (root.querySelectorAll("form[data-keypad]"))) {
    form.querySelector("[data-keypad-keys]")?.removeAttribute("hidden");
    form.querySelector("[data-plain]")?.setAttribute("hidden", "");
    form.querySelector(".entry-typed")?.removeAttribute("hidden");
    if (form === openKeypad()) show(form, field(form, "value").value);
  }
}

/**
 * @param {HTMLFormElement} form
 * @param {HTMLElement} button
 */
function answer(form, button) {
  button.blur(); // it goes out of sight, and until the next frame Enter would still be taken for a press of it
  if (button.dataset.sure !== undefined) {
    field(form, "sure").value = "1";
    ask(form, "");
    keep(form, "");
  } else {
    ask(form, button.dataset.ask ?? "");
  }
}

const BUTTONS = "[data-key], [data-keep], [data-ask], [data-sure]";

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest(BUTTONS) : null;
  const form = button?.closest("form");
  if (!(button instanceof HTMLElement) || !form || form.hasAttribute("data-sent")) return;
  if (button.dataset.keep !== undefined) keep(form, button.dataset.keep);
  else if (button.dataset.key !== undefined) press(form, button.dataset.key);
  else answer(form, button);
});

document.addEventListener("keydown", (event) => {
  const form = openKeypad();
  if (!form || form.matches("[data-sent], [data-asking]") || event.ctrlKey || event.altKey || event.metaKey) return;
  const focus = document.activeElement;
  if (focus instanceof HTMLElement && focus.matches("input, select, textarea, [contenteditable]")) return;
  const key = event.key === "," ? "." : event.key === "Backspace" ? "back" : event.key;
  if (key === "Enter" && !focus?.matches("a, button, summary")) keep(form, "");
  else if (/^[0-9.]$|^back$/.test(key)) press(form, key);
  else return;
  event.preventDefault();
});

// Coming back with the browser's Back button shows the old form: let it be used again.
window.addEventListener("pageshow", () => openKeypad()?.removeAttribute("data-sent"));
document.addEventListener("htmx:load", (event) => dress(/** @type {Element} */ (event.target)));
dress(document);
