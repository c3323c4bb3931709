// The bar at the head of every page: what is saved, what waits on this tablet and why, and what was not taken.

import { fieldOf, forget, held, reached, setAside, tryAgain, waiting } from "./outbox.js";

const HOLDS_UP = 3;
const LONG_MS = 10 * 60 * 1000;

/** What a write is called, by the last part of its address: one, several. @type {Record<string, [string, string]>} */
const NAMES = {
  readings: ["reading", "readings"],
  rounds: ["new round", "new rounds"],
  speed: ["idle speed", "idle speeds"],
  moves: ["move", "moves"],
  checks: ["record of steps", "records of steps"],
  back: ["step taken back", "steps taken back"],
  correct: ["correction", "corrections"],
  overrides: ["step passed over", "steps passed over"],
  settle: ["answer", "answers"],
  "sign-off": ["sign-off", "sign-offs"],
};

/** @param {import("./queue.js").Write} write */
function kindOf(write) {
  return write.url.split("/").pop() ?? "";
}

/** "2 readings and 1 move". @param {import("./queue.js").Write[]} writes */
export function counted(writes) {
  /** @type {Map<string, number>} */
  const counts = new Map();
  for (const write of writes) counts.set(kindOf(write), (counts.get(kindOf(write)) ?? 0) + 1);
  const parts = [...counts].map(([kind, n]) => `${n} ${(NAMES[kind] ?? ["entry", "entries"])[n === 1 ? 0 : 1]}`);
  return parts.length < 2 ? parts.join("") : `${parts.slice(0, -1).join(", ")} and ${parts.at(-1)}`;
}

/** One write in words: "Bore 3, 6.25". @param {import("./queue.js").Write} write */
export function named(write) {
  const bore = fieldOf(write, "bore");
  if (bore) return `Bore ${bore}, ${fieldOf(write, "why") || fieldOf(write, "value")}`;
  const [one] = NAMES[kindOf(write)] ?? ["entry"];
  return one[0].toUpperCase() + one.slice(1);
}

/** What the bar says of a form that went straight over and was not saved. @type {[string, string, boolean] | null} */
let unsaved = null;

/** Whether the last page was asked for in vain: the shop computer answered without it. */
let broken = false;

/** Since when the oldest has been held, once that is long. @param {number} at */
function since(at) {
  if (Date.now() - at < LONG_MS) return "";
  const then = new Date(at);
  const today = then.toDateString() === new Date().toDateString();
  const clock = `${then.getHours()}:${String(then.getMinutes()).padStart(2, "0")}`;
  return ` since ${today ? clock : then.toLocaleDateString()}`;
}

/** @returns {[string, string, boolean]} what the bar says: bold words, the rest, and whether something is not settled */
function words() {
  if (unsaved) return unsaved;
  const waits = waiting();
  const refused = held.writes.filter((write) => write.reason !== "");
  if (waits.length > 0 && held.slow) {
    const bold = held.trouble === "link" ? "No link." : "Not saved yet.";
    /** @type {Record<string, string>} */
    const why = {
      server: ": the shop computer could not store it",
      door: ": this tablet has to be let in again",
      stranger: ": something else answers",
    };
    return [bold, `${counted(waits)} held here${since(waits[0].at)}, not yet saved${why[held.trouble] ?? ""}`, true];
  }
  if (waits.length > 0) return ["Sending", `${counted(waits)}`, false];
  if (refused.length > 0) return ["Not kept.", `${counted(refused)} came back`, true];
  if (held.trouble === "link") return ["No link.", "Nothing is held here", true];
  if (broken) return ["All saved.", "The page after it did not come: load this one anew", true];
  return ["All saved", "", false];
}

/** @param {string} bold @param {string} detail @param {boolean} unsettled */
function say(bold, detail, unsettled) {
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

/** The refused write in a line: to be sent again, or dropped by two taps. @param {import("./queue.js").Write} write */
function refusedLine(write) {
  const drop = button("Drop it", (made) => {
    if (made.dataset.sure !== undefined) void forget(write);
    made.dataset.sure = "";
    made.textContent = "Drop it for good";
  });
  return line(`Not kept: ${named(write)}.`, write.reason, button("Send again", () => void tryAgain(write)), drop);
}

/** What holds all the others up. @returns {HTMLLIElement[]} */
function stuckLine() {
  const [oldest] = waiting();
  if (!oldest || held.trouble !== "server" || held.failed < HOLDS_UP) return [];
  const words = "The shop computer could not store it, and the rest waits behind it.";
  return [line(`Still here: ${named(oldest)}.`, words, button("Set it aside", () => void setAside(oldest)))];
}

/** What was refused and stands in no form of this page, each with its reason. */
function listRefused() {
  const list = document.getElementById("refused");
  if (!list) return;
  const here = new Set([...document.querySelectorAll("input[name=key]")].map((one) => /** @type {any} */ (one).value));
  const back = held.writes.filter((write) => write.reason !== "" && !here.has(write.key));
  const lines = [...stuckLine(), ...back.map(refusedLine)];
  list.replaceChildren(...lines);
  list.toggleAttribute("hidden", lines.length === 0);
}

function draw() {
  if (!held.known) return; // as served it says that all is saved, and is not shown before it is known to be true
  say(...words());
  listRefused();
}

/** A form that went straight over was not saved: it may be sent again. @param {string} bold @param {string} detail */
function notSaved(bold, detail) {
  unsaved = [bold, detail, true];
  draw();
  for (const form of document.querySelectorAll("form[data-sent]")) form.removeAttribute("data-sent");
}

document.addEventListener("outbox:first", (event) => {
  const { writes } = /** @type {CustomEvent} */ (event).detail;
  notSaved("Not yet.", `First ${counted(writes)} held here must go over`);
});
document.addEventListener("outbox:rest", () => {
  unsaved = null;
  draw();
});
document.addEventListener("outbox:changed", draw);
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
    if (verb !== "get") notSaved("No link.", "Not saved; tap it again");
  });
}
document.addEventListener("htmx:responseError", (event) => {
  const status = /** @type {CustomEvent} */ (event).detail.xhr.status;
  if (status === 413) notSaved("Not saved.", "Too much for one form: shorten it and send it again");
  else notSaved("Not saved.", "The shop computer could not; tap it again");
});
