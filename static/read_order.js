// The order in which the bores of a round are read, as this tablet knows it: which readings are not in the page yet, and
// what the keypad enters next.

import { ask, show, tell } from "./keypad.js";
import { fieldOf, held } from "./outbox.js";
import { say } from "./words.js";

const NAMED = 3; // bores named of those that follow

/** @typedef {import("./queue.js").Write} Write */
/** @typedef {{bore: string, kind: "turn" | "closing" | ""}} Next what the keypad enters next; no bore closes it */

/** @returns {HTMLFormElement | null} the keypad of this page, open or closed */
export function keypad() {
  return document.querySelector("form[data-keypad]");
}

/** A key for one more write. `randomUUID` is not there on plain http. */
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** @param {HTMLFormElement} form @param {string} name */
export function input(form, name) {
  return /** @type {HTMLInputElement | null} */ (form.querySelector(`input[name="${name}"]`));
}

/**
 * The readings of the form's round that the page as served does not show, oldest first.
 * @param {HTMLFormElement} form
 */
export function readings(form) {
  const newest = [...held.saved, ...held.writes];
  return newest.filter((w) => w.url === form.getAttribute("action") && fieldOf(w, "round") === form.dataset.round);
}

/** Whether a write skips a bore: for a code, or for words in a form from before codes. @param {Write} write */
export function isSkip(write) {
  return fieldOf(write, "why_code") !== "" || fieldOf(write, "why") !== "";
}

/**
 * What the keypad enters once these readings are in: null when it is right already.
 * @param {HTMLFormElement} form
 * @param {Write[]} done
 * @returns {Next | null}
 */
export function nextOf(form, done) {
  const [bore, kind, key] = ["bore", "kind", "key"].map((name) => input(form, name)?.value);
  const same = (/** @type {Write} */ w) => fieldOf(w, "bore") === bore && fieldOf(w, "kind") === kind;
  if (!done.some((w) => w.key === key || (kind !== "again" && !input(form, "supersedes")?.value && same(w)))) {
    return null;
  }
  const turns = done.filter((w) => fieldOf(w, "kind") !== "closing");
  const walk = (form.dataset.walk ?? "").split(" ").filter(Boolean);
  const left = walk.find((one) => !turns.some((w) => fieldOf(w, "bore") === one));
  if (left) return { bore: left, kind: "turn" };
  const first = turns.find((w) => !isSkip(w));
  const start = form.dataset.first || (first ? fieldOf(first, "bore") : "");
  const ends = form.dataset.ends === "1" && turns.length === done.length;
  return ends && start ? { bore: start, kind: "closing" } : { bore: "", kind: "" };
}

/**
 * Sets the keypad to one entry, nothing typed.
 * @param {HTMLFormElement} form
 * @param {{bore: string, kind: string, supersedes?: string}} fields
 * @param {string} heading
 * @param {string} follows what comes after it
 */
export function enter(form, { bore, kind, supersedes = "" }, heading, follows) {
  const fields = { bore, kind, supersedes, key: newKey(), sure: "" };
  for (const [name, value] of Object.entries(fields)) /** @type {HTMLInputElement} */ (input(form, name)).value = value;
  form.classList.remove("is-closed");
  for (const key of form.querySelectorAll("button")) key.disabled = false;
  clear(form, heading, follows);
}

/** Closes the keypad, as far as this tablet knows. @param {HTMLFormElement} form */
export function close(form) {
  clear(form, say("round-read", { round: form.dataset.round ?? "" }), say("waiting-for-server"));
  form.classList.add("is-closed");
  for (const key of form.querySelectorAll("button")) key.disabled = true;
}

/** @param {HTMLFormElement} form @param {string} heading @param {string} follows */
function clear(form, heading, follows) {
  const said = { ".entry-heading": heading, ".entry-follows": follows };
  for (const [part, words] of Object.entries(said)) {
    /** @type {Element} */ (form.querySelector(part)).textContent = words;
  }
  form.removeAttribute("data-sent");
  form.querySelector(".entry-other")?.remove();
  ask(form, "");
  tell(form, "");
  show(form, "");
}

/**
 * Sets the keypad to what comes next.
 * @param {HTMLFormElement} form
 * @param {Next} next
 * @param {Write[]} done
 */
export function advance(form, next, done) {
  if (next.bore === "") {
    close(form);
    return;
  }
  const read = new Set([next.bore, ...done.map((w) => fieldOf(w, "bore"))]);
  const then = (form.dataset.walk ?? "").split(" ").filter((one) => one && !read.has(one));
  const opener = done.find((w) => !isSkip(w));
  const first = form.dataset.first || (opener ? fieldOf(opener, "bore") : next.bore);
  if (next.kind === "closing") enter(form, next, say("bore-again", { bore: next.bore }), say("ends-round"));
  else enter(form, next, say("bore", { bore: next.bore }), following(then, first));
}

/** "Then 2, 3, 4, ... and 1 again". @param {string[]} then @param {string} first */
function following(then, first) {
  const bores = then.slice(0, NAMED).join(", ");
  if (then.length > NAMED) return say("then-more", { bores, first });
  return bores ? say("then-some", { bores, first }) : say("then-first", { first });
}

/**
 * Sets the keypad to a bore that was tapped, without the shop computer: to read it, or to correct its saved value.
 * A value that is still on its way is named by its key.
 * @param {HTMLFormElement} form
 * @param {HTMLElement} tile
 */
export function choose(form, tile) {
  const bore = tile.dataset.bore ?? "";
  const kept = readings(form).filter((w) => w.reason === "" && !isSkip(w) && fieldOf(w, "bore") === bore).at(-1);
  const [id, kind] = kept ? [kept.key, fieldOf(kept, "kind")] : (tile.dataset.reading ?? " turn").split(" ");
  const heading = id ? say("bore-corrected", { bore }) : say("bore", { bore });
  enter(form, { bore, kind, supersedes: id }, heading, say(id ? "then-round" : "extra-reading"));
}

/** @param {HTMLFormElement} form what it enters, to tell whether two keypads are the same */
export function entry(form) {
  const names = ["bore", "kind", "supersedes"];
  return [form.dataset.round, form.className, ...names.map((name) => input(form, name)?.value ?? "")].join();
}
