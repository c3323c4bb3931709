// The status bar at the head of every page: what is saved, what waits on this tablet and why, and what was rejected.

import { fieldOf, forget, held, reached, setAside, tryAgain, waiting } from "./outbox.js";
import { listed, say } from "./words.js";

const HOLDS_UP = 3;
const LONG_MS = 10 * 60 * 1000;

/** What a write is called, by the last part of its address, or the last two where one is not enough. @type {Record<string, string>} */
const NAMES = {
  readings: "write-readings",
  look: "write-readings",
  rounds: "write-rounds",
  speed: "write-speed",
  moves: "write-moves",
  checks: "write-checks",
  back: "write-back",
  "taken-back": "write-taken-back",
  correct: "write-correct",
  overrides: "write-overrides",
  settle: "write-settle",
  "sign-off": "write-sign-off",
  mistaken: "write-mistaken",
  start: "write-start",
  stop: "write-stop",
  corrected: "write-stop",
  stopped: "write-stopped",
  instruments: "write-instruments",
  "plates/start": "write-plates-begun",
  facts: "write-checks",
  plates: "write-plates",
  hours: "write-hours",
  why: "write-why",
  "why/file": "write-why-file",
  "why/taken-back": "write-why",
  repaired: "write-why",
};

/** Why something is not saved yet, by the trouble of the outbox. @type {Record<string, string>} */
const CAUSES = { server: "because-server", pairing: "because-pairing", stranger: "because-stranger" };

/** Why a bore is skipped, by the code that the keypad sends. @type {Record<string, string>} */
const SKIPS = {
  "out-of-reach": "skip-out-of-reach",
  "not-safe": "skip-not-safe",
  later: "skip-later",
  "plate-out-of-order": "skip-plate-out-of-order",
};

/** @param {import("./queue.js").Write} write */
function nameOf(write) {
  const parts = write.url.split("/");
  return NAMES[parts.slice(-2).join("/")] ?? NAMES[parts.slice(-1)[0] ?? ""] ?? "write-other";
}

/** "2 readings and 1 adjustment". @param {import("./queue.js").Write[]} writes */
export function counted(writes) {
  /** @type {Map<string, number>} */
  const counts = new Map();
  for (const write of writes) counts.set(nameOf(write), (counts.get(nameOf(write)) ?? 0) + 1);
  return listed([...counts].map(([name, count]) => say(name, { count })));
}

/** One write: "Bore 3, 6.25" or "Bore 3, Read later". @param {import("./queue.js").Write} write */
export function named(write) {
  const bore = fieldOf(write, "bore");
  const skip = SKIPS[fieldOf(write, "why_code")];
  const value = skip ? say(skip) : fieldOf(write, "why") || fieldOf(write, "value");
  return bore ? say("write-bore", { bore, value }) : say(nameOf(write), { count: 1 });
}

/** What the bar says of a form that was sent directly and not saved. @type {[string, string, boolean] | null} */
let unsaved = null;

/** Whether the shop computer answered the last request for a page without the page. */
let broken = false;

/** When the oldest was entered, once that is long ago. @param {number} at */
function since(at) {
  if (Date.now() - at < LONG_MS) return "";
  const then = new Date(at);
  const today = then.toDateString() === new Date().toDateString();
  return today ? `${then.getHours()}:${String(then.getMinutes()).padStart(2, "0")}` : then.toLocaleDateString();
}

/** What waits, since when, and why. @param {import("./queue.js").Write[]} waits */
function delayed(waits) {
  const [what, time] = [counted(waits), since(waits[0].at)];
  const sentences = [time ? say("waiting-since", { what, time }) : say("waiting", { what })];
  if (held.trouble in CAUSES) sentences.push(say(CAUSES[held.trouble]));
  return sentences.join(" ");
}

/** @returns {[string, string, boolean]} what the bar says: bold words, the rest, and whether something is not settled */
function words() {
  if (unsaved) return unsaved;
  const waits = waiting();
  const rejected = held.writes.filter((write) => write.reason !== "");
  if (waits.length > 0 && held.slow) {
    return [say(held.trouble === "connection" ? "no-connection" : "not-saved-yet"), delayed(waits), true];
  }
  if (waits.length > 0) return [say("sending"), counted(waits), false];
  if (rejected.length > 0) return [say("not-saved"), say("rejected-writes", { what: counted(rejected) }), true];
  if (held.trouble === "connection") return [say("no-connection"), say("nothing-waiting"), true];
  if (broken) return [say("saved-without-page"), say("page-missing"), true];
  return [say("all-saved"), "", false];
}

/** @param {string} bold @param {string} detail @param {boolean} unsettled */
function show(bold, detail, unsettled) {
  const state = document.getElementById("link-state");
  const text = state?.querySelector("span");
  if (!state || !text) return;
  state.classList.toggle("is-held", unsettled);
  state.classList.add("is-told");
  if (text.textContent === bold + detail) return;
  const strong = document.createElement("b");
  strong.textContent = bold;
  text.replaceChildren(strong, detail);
}

/**
 * @param {string} label
 * @param {(button: HTMLButtonElement) => void} act
 */
function button(label, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "button";
  made.textContent = label;
  made.addEventListener("click", () => act(made));
  return made;
}

/**
 * @param {string} bold
 * @param {string} words
 * @param {HTMLButtonElement[]} answers
 */
function line(bold, words, ...answers) {
  const made = document.createElement("li");
  const text = document.createElement("span");
  const strong = document.createElement("b");
  strong.textContent = `${bold} `;
  text.append(strong, words);
  made.append(text, ...answers);
  return made;
}

/** The rejected write in a line: to be sent again, or discarded by two taps. @param {import("./queue.js").Write} write */
function rejectedLine(write) {
  const discard = button(say("discard"), (made) => {
    if (made.dataset.sure !== undefined) void forget(write);
    made.dataset.sure = "";
    made.textContent = say("discard-for-good");
  });
  const again = button(say("send-again"), () => void tryAgain(write));
  return line(say("rejected-write", { write: named(write) }), write.reason, again, discard);
}

/** The write that the others wait for. @returns {HTMLLIElement[]} */
function stuckLine() {
  const [oldest] = waiting();
  if (!oldest || held.trouble !== "server" || held.failed < HOLDS_UP) return [];
  const aside = button(say("set-aside"), () => void setAside(oldest));
  return [line(say("stuck-write", { write: named(oldest) }), say("stuck-reason"), aside)];
}

/** Keys of what was rejected while the page stayed as it was: the form that it came from does not say why. */
const unexplained = new Set();

/** What was rejected and is in no form of this page that says so, each with its reason. */
function listRejected() {
  const list = document.getElementById("refused");
  if (!list) return;
  const here = new Set([...document.querySelectorAll("input[name=key]")].map((one) => /** @type {any} */ (one).value));
  const told = (/** @type {string} */ key) => here.has(key) && !unexplained.has(key);
  const back = held.writes.filter((write) => write.reason !== "" && !told(write.key));
  const lines = [...stuckLine(), ...back.map(rejectedLine)];
  list.replaceChildren(...lines);
  list.toggleAttribute("hidden", lines.length === 0);
}

function draw() {
  if (!held.known) return; // as served it says that all is saved, and is not shown before it is known to be true
  show(...words());
  listRejected();
}

/** A form that was sent directly was not saved: it may be sent again. @param {string} bold @param {string} detail */
function notSaved(bold, detail) {
  unsaved = [bold, detail, true];
  draw();
  for (const form of document.querySelectorAll("form[data-sent]")) form.removeAttribute("data-sent");
}

document.addEventListener("outbox:first", (event) => {
  const { writes } = /** @type {CustomEvent} */ (event).detail;
  notSaved(say("not-saved"), say("waiting-first", { what: counted(writes) }));
});
document.addEventListener("outbox:rest", () => {
  unsaved = null;
  draw();
});
document.addEventListener("outbox:changed", draw);
document.addEventListener("page:stayed", (event) => {
  unexplained.add(/** @type {CustomEvent} */ (event).detail.write.key);
  draw();
});
document.addEventListener("page:came", (event) => {
  broken = !(/** @type {CustomEvent} */ (event).detail.well);
  draw();
});
document.addEventListener("htmx:load", draw);
document.addEventListener("htmx:afterRequest", (event) => {
  if (!(/** @type {CustomEvent} */ (event).detail.successful)) return;
  unsaved = null;
  broken = false;
  reached(true);
});
for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, (event) => {
    reached(false);
    const { verb } = /** @type {CustomEvent} */ (event).detail.requestConfig;
    if (verb !== "get") notSaved(say("no-connection"), say("tap-again"));
  });
}
document.addEventListener("htmx:responseError", (event) => {
  const status = /** @type {CustomEvent} */ (event).detail.xhr.status;
  notSaved(say("not-saved"), say(status === 413 ? "too-long" : "server-failed"));
});
