// The keypad of the visit page. Digits build the value; a key of the last column ends it and keeps it.
//
// The form works without this script: a text field and Keep. This script hides the field, shows the keys, and
// submits the same form, so whoever listens to its submit event sees every reading. Keys pressed after that are
// ignored until a new form is in the page or `sent` is taken off the form again (form.removeAttribute("data-sent")).

const WHOLE_DIGITS = 4;

/** @returns {HTMLFormElement | null} the keypad that is open for a reading */
function openKeypad() {
  return document.querySelector("form[data-keypad]:not(.is-closed)");
}

/**
 * @param {HTMLFormElement} form
 * @returns {HTMLInputElement} the field that carries the value to the shop computer
 */
function valueField(form) {
  return /** @type {HTMLInputElement} */ (form.elements.namedItem("value"));
}

/**
 * Shows what has been typed, in the entry box and in the tile of the bore.
 * @param {HTMLFormElement} form
 * @param {string} typed
 */
function show(form, typed) {
  valueField(form).value = typed;
  const output = form.querySelector("[data-typed]");
  if (output) output.textContent = typed;
  const tile = document.querySelector("[data-typing]");
  if (tile) tile.textContent = typed === "" ? "–" : `${typed}…`;
}

/**
 * @param {HTMLFormElement} form
 * @param {string} words
 */
function say(form, words) {
  const message = form.querySelector("[data-message]");
  if (message) message.textContent = words;
}

/**
 * Adds one digit or the point. A key that would make no number does nothing.
 * @param {HTMLFormElement} form
 * @param {string} key
 */
function type(form, key) {
  const typed = valueField(form).value;
  const [whole, part] = typed.split(".");
  if (key === "." && (part !== undefined || form.dataset.keys === "whole")) return;
  if (key !== "." && part === undefined && whole.length >= WHOLE_DIGITS) return;
  if (key !== "." && part !== undefined && part.length >= 2) return;
  const next = typed === "" && key === "." ? "0." : typed === "0" && key !== "." ? key : typed + key;
  show(form, next);
  say(form, "");
}

/**
 * Ends the value and submits it. The whole number comes first, so one stray tap keeps nothing.
 * @param {HTMLFormElement} form
 * @param {string} end ".25" and the like; "" keeps the value as typed
 */
function keep(form, end) {
  const typed = valueField(form).value;
  if (typed === "") {
    say(form, "Type the whole number first.");
    return;
  }
  show(form, end === "" ? typed.replace(/\.$/, "") : typed.split(".")[0] + end);
  form.setAttribute("data-sent", "");
  form.requestSubmit();
}

/**
 * @param {HTMLFormElement} form
 * @param {string} key a digit, ".", or "back"
 */
function press(form, key) {
  if (key === "back") show(form, valueField(form).value.slice(0, -1));
  else type(form, key);
}

/** Turns the plain form into the keypad. @param {ParentNode} root */
function dress(root) {
  for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (root.querySelectorAll("form[data-keypad]"))) {
    form.querySelector("[data-keypad-keys]")?.removeAttribute("hidden");
    form.querySelector("[data-plain]")?.setAttribute("hidden", "");
    form.querySelector(".entry-typed")?.removeAttribute("hidden");
    if (form === openKeypad()) show(form, valueField(form).value);
  }
}

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("[data-key], [data-keep]") : null;
  const form = button?.closest("form");
  if (!(button instanceof HTMLElement) || !form || form.hasAttribute("data-sent")) return;
  if (button.dataset.keep !== undefined) keep(form, button.dataset.keep);
  else press(form, button.dataset.key ?? "");
});

document.addEventListener("keydown", (event) => {
  const form = openKeypad();
  if (!form || form.hasAttribute("data-sent") || event.ctrlKey || event.altKey || event.metaKey) return;
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
