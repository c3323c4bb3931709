// The reading page: what waits is drawn on it, the keypad goes on through the round by itself, and what was written
// elsewhere appears. The judging is the shop computer's: what waits has a value and no verdict.

import { ask, dress, openKeypad, say, show } from "./keypad.js";
import { fetchPage } from "./follow.js";
import { counted } from "./link.js";
import { fieldOf, held, reached, seen, waiting } from "./outbox.js";

const LOOK_MS = 1000;
const ANSWER_MS = 5000;

/** @typedef {import("./queue.js").Write} Write */
/** @typedef {{bore: string, kind: "turn" | "closing" | ""}} Next what the keypad enters next; no bore closes it */

/** @returns {HTMLFormElement | null} */
function keypad() {
  return document.querySelector("form[data-keypad]");
}

/** @returns {HTMLElement | null} the page, when it shows a round */
function desk() {
  return document.querySelector("main[data-version]");
}

/** A key for one more write. `randomUUID` is not there on plain http. */
function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** @param {HTMLFormElement} form @param {string} name */
function input(form, name) {
  return /** @type {HTMLInputElement | null} */ (form.querySelector(`input[name="${name}"]`));
}

/**
 * The readings of the form's round that the page as served does not show, oldest first.
 * @param {HTMLFormElement} form
 */
function readings(form) {
  const newest = [...held.saved, ...held.writes];
  return newest.filter((w) => w.url === form.getAttribute("action") && fieldOf(w, "round") === form.dataset.round);
}

/** @param {Write} write */
function isSkip(write) {
  return fieldOf(write, "why") !== "";
}

/**
 * What the keypad enters once these readings are in: null when it stands right already.
 * @param {HTMLFormElement} form
 * @param {Write[]} done
 * @returns {Next | null}
 */
function nextOf(form, done) {
  const [bore, kind, key] = ["bore", "kind", "key"].map((name) => input(form, name)?.value);
  const same = (/** @type {Write} */ w) => fieldOf(w, "bore") === bore && fieldOf(w, "kind") === kind;
  if (!done.some((w) => w.key === key || (kind !== "again" && !input(form, "supersedes")?.value && same(w)))) return null;
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
 * Sets the keypad to what comes next.
 * @param {HTMLFormElement} form
 * @param {Next} next
 * @param {Write[]} done
 */
function advance(form, next, done) {
  const heading = form.querySelector(".entry-heading");
  const follows = form.querySelector(".entry-follows");
  form.removeAttribute("data-sent");
  form.querySelector(".entry-other")?.remove();
  ask(form, "");
  say(form, "");
  if (!heading || !follows) return;
  if (next.bore === "") {
    show(form, "");
    form.classList.add("is-closed");
    for (const key of form.querySelectorAll("button")) key.disabled = true;
    heading.textContent = `Round ${form.dataset.round} read`;
    follows.textContent = "Waits for the shop computer";
    return;
  }
  const fields = { ...next, key: newKey(), supersedes: "", sure: "", value: "" };
  for (const [name, value] of Object.entries(fields)) /** @type {HTMLInputElement} */ (input(form, name)).value = value;
  heading.textContent = next.kind === "closing" ? `Bore ${next.bore} again` : `Bore ${next.bore}`;
  const read = new Set([next.bore, ...done.map((w) => fieldOf(w, "bore"))]);
  const then = (form.dataset.walk ?? "").split(" ").filter((one) => one && !read.has(one));
  const first = form.dataset.first || fieldOf(done.find((w) => !isSkip(w)) ?? done[0], "bore");
  const soon = [...then.slice(0, 3), ...(then.length > 3 ? ["..."] : [])].join(", ");
  const turn = `Then ${soon}${soon ? " and " : ""}${first} again`;
  follows.textContent = next.kind === "closing" ? "Closes the round" : turn;
  show(form, "");
}

/**
 * Draws the tile of a bore anew.
 * @param {string} bore
 * @param {"to-read" | "next" | "closing" | "held" | "refused"} state
 * @param {{value?: string, word?: string, corner?: string, read?: boolean}} says
 */
function draw(bore, state, { value = "", word = "", corner = "", read = false } = {}) {
  const tile = /** @type {HTMLElement | null} */ (document.querySelector(`a.tile[data-bore="${bore}"]`));
  const blank = /** @type {HTMLTemplateElement | null} */ (document.querySelector(`template[data-blank="${state}"]`));
  const drawn = /** @type {HTMLElement | undefined} */ (blank?.content.firstElementChild?.cloneNode(true));
  if (!tile || !drawn) return;
  const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (drawn.querySelector(name));
  part(".tile-number").textContent = bore;
  if (value) (part(".tile-value s") ?? part(".tile-value")).textContent = value;
  if (word) part(".tile-word").textContent = word;
  if (corner || read) part(".tile-corner").textContent = corner;
  const stop = tile.querySelector("[data-stop]");
  if (stop) part("svg").append(stop);
  tile.className = read ? "tile is-read" : drawn.className;
  tile.replaceChildren(...drawn.childNodes);
  const spoken = [`Bore ${bore}`, value, tile.querySelector(".tile-word")?.textContent];
  tile.setAttribute("aria-label", spoken.filter(Boolean).join(", "));
  if (state === "next" || state === "closing") tile.setAttribute("aria-current", "true");
  else tile.removeAttribute("aria-current");
  if (value && state === "held" && word !== "skipped") tile.dataset.value = value;
}

/** The bore that the keypad enters stands out, and no other does. @param {HTMLFormElement} form */
function mark(form) {
  const open = form === openKeypad();
  const bore = open ? input(form, "bore")?.value : "";
  const state = input(form, "kind")?.value === "closing" ? "closing" : "next";
  for (const tile of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("a.tile[aria-current]"))) {
    if (tile.dataset.bore !== bore) draw(tile.dataset.bore ?? "", "to-read");
  }
  const tile = /** @type {HTMLElement | null} */ (document.querySelector(`a.tile[data-bore="${bore}"]`));
  if (!bore || !tile || tile.classList.contains(`is-${state}`)) return;
  draw(bore, state, { corner: tile.dataset.value });
  show(form, input(form, "value")?.value ?? "");
}

/** The strip between the banks counts what waits, too. @param {number} count */
function count(count) {
  for (const term of document.querySelectorAll(".strip dt")) {
    const said = /** @type {HTMLElement} */ (term.nextElementSibling);
    if (!/^Round/.test(term.textContent ?? "")) continue;
    said.dataset.read ??= said.textContent ?? "";
    said.textContent = said.dataset.read + (count > 0 ? `, ${count} waiting` : "");
  }
}

/** While something waits there is no verdict and no next move: both say so. */
function wait() {
  const waits = waiting();
  const verdict = document.querySelector(".verdict");
  const move = document.querySelector(".move");
  if (!held.slow || waits.length === 0 || !verdict || !move) return;
  const form = openKeypad();
  const bore = form ? input(form, "bore")?.value : "";
  /** @type {[Element, string, string][]} */
  const said = [
    [verdict, "The verdict waits", `${counted(waits)} held on this tablet. The verdict comes with the link.`],
    [move, bore ? `Read on: bore ${bore}` : "Wait for the link", "The next move comes with the verdict."],
  ];
  for (const [card, title, sentence] of said) {
    const [heading, text] = [card.querySelector("h2 span"), card.querySelector(":scope > p")];
    if (heading) heading.textContent = title;
    if (text) text.textContent = sentence;
    for (const gone of card.querySelectorAll("h2 svg, .ruler, form")) gone.remove();
  }
}

/** Draws on the page as served what is not in it yet. */
function lay() {
  const form = keypad();
  if (!form || !desk()) return;
  const mine = readings(form);
  const done = mine.filter((w) => w.reason === "");
  for (const w of mine) {
    const [bore, value] = [fieldOf(w, "bore"), fieldOf(w, "value")];
    const saved = "savedAt" in w;
    if (w.reason !== "") {
      if (document.querySelector(`a.tile.is-to-read[data-bore="${bore}"]`)) draw(bore, "refused", { value });
    } else if (isSkip(w)) {
      draw(bore, "held", { value: "–", word: "skipped", read: saved });
    } else {
      draw(bore, "held", { value, word: saved ? "saved" : "waiting", read: saved });
    }
  }
  if (form === openKeypad()) {
    const next = nextOf(form, done);
    const typing = input(form, "value")?.value && !form.hasAttribute("data-sent");
    if (next && !typing) advance(form, next, done);
  }
  const others = waiting().filter((w) => w.url.split("/")[2] === form.action.split("/")[4] && !mine.includes(w));
  if (others.length > 0 && form === openKeypad()) advance(form, { bore: "", kind: "" }, done);
  mark(form);
  desk()?.setAttribute("aria-busy", String(waiting().length + held.saved.length > 0));
  count(held.slow ? done.filter((w) => !("savedAt" in w)).length : 0);
  wait();
}

let pressed = false;
/** @type {(() => void)[]} */
const released = [];
document.addEventListener("pointerdown", () => (pressed = true), true);
for (const name of ["pointerup", "pointercancel"]) {
  document.addEventListener(
    name,
    () =>
      setTimeout(() => {
        pressed = false;
        for (const go of released.splice(0)) go();
      }),
    true,
  );
}

/** A part taken away under a finger would swallow the tap: wait until the finger is up. */
function fingerUp() {
  return pressed ? new Promise((resolve) => released.push(() => resolve(undefined))) : Promise.resolve();
}

/** @param {HTMLFormElement} form what it enters, to tell whether two keypads are the same */
function entry(form) {
  const names = ["bore", "kind", "supersedes"];
  return [form.dataset.round, form.className, ...names.map((name) => input(form, name)?.value ?? "")].join();
}

/**
 * Puts a newer keypad in place of the old one, unless a person is typing in that.
 * @param {HTMLFormElement} old
 * @param {HTMLFormElement} fresh
 */
function renewKeypad(old, fresh) {
  const done = readings(fresh).filter((w) => w.reason === "");
  const next = nextOf(fresh, done);
  if (next) advance(fresh, next, done);
  const typing = old.hasAttribute("data-asking") || (input(old, "value")?.value ?? "") !== "";
  if (typing && old.dataset.round !== fresh.dataset.round) {
    say(old, "Something was moved elsewhere: a new round begins.");
    return;
  }
  if (typing) {
    const bore = input(old, "bore")?.value ?? "";
    const turn = input(old, "kind")?.value === "turn" && !input(old, "supersedes")?.value;
    if (turn && !fresh.dataset.walk?.split(" ").includes(bore)) say(old, `Bore ${bore} was read elsewhere meanwhile.`);
  } else if (entry(old) !== entry(fresh)) {
    old.replaceWith(fresh);
    htmx.process(fresh);
    dress(document);
    return;
  }
  Object.assign(old.dataset, { ...fresh.dataset });
  const [before, after] = [old, fresh].map((form) => form.querySelector(".entry-follows"));
  if (before && after) before.textContent = after.textContent;
}

/** Takes over the parts of a newer page. @param {Document} page */
function renew(page) {
  const [now, fresh] = [desk(), /** @type {HTMLElement | null} */ (page.querySelector("main[data-version]"))];
  if (!now || !fresh) return;
  const focused = document.activeElement?.closest("a.tile")?.getAttribute("data-bore");
  for (const part of [":scope > nav", ":scope > .engine", ":scope > .verdict", ":scope > .move"]) {
    const [old, one] = [now.querySelector(part), fresh.querySelector(part)];
    if (!old || !one) continue;
    old.replaceWith(one);
    htmx.process(one);
  }
  const [old, one] = [now, fresh].map((main) => /** @type {HTMLFormElement | null} */ (main.querySelector("form[data-keypad]")));
  if (old && one) renewKeypad(old, one);
  now.dataset.version = fresh.dataset.version;
  if (focused) /** @type {HTMLElement | null} */ (now.querySelector(`a.tile[data-bore="${focused}"]`))?.focus();
  const form = keypad();
  if (form && form === openKeypad()) show(form, input(form, "value")?.value ?? "");
}

let renewing = false;
let again = "";

/** Fetches this page anew and takes over what changed. @param {string} path */
async function refresh(path) {
  again = path;
  if (renewing) return;
  renewing = true;
  try {
    while (again) {
      const wanted = again;
      again = "";
      const begun = performance.now();
      const html = await fetchPage(wanted);
      await fingerUp();
      if (again || new URL(wanted, location.href).pathname !== location.pathname) continue;
      seen(begun);
      renew(new DOMParser().parseFromString(html, "text/html"));
      history.replaceState(history.state, "", wanted);
      lay();
    }
  } catch {
    // the page stays as it is; the next look finds it out of date and tries again
  } finally {
    renewing = false;
  }
}

/** Asks whether anything was written since this page was made. */
async function look() {
  const page = desk();
  if (page && document.visibilityState === "visible" && !renewing) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), ANSWER_MS);
    try {
      const { version = "", news = "" } = page.dataset;
      const answer = await fetch(`${news}?since=${version}`, { cache: "no-store", signal: stop.signal });
      reached(answer.ok);
      if (answer.status === 200 && page.isConnected && page.dataset.version === version) void refresh(here());
    } catch {
      reached(false);
    } finally {
      clearTimeout(timer);
    }
  }
  setTimeout(look, LOOK_MS);
}

function here() {
  return location.pathname + location.search;
}

document.addEventListener("outbox:changed", lay);
document.addEventListener("htmx:load", lay);
document.addEventListener("outbox:rest", (event) => {
  const { next } = /** @type {CustomEvent} */ (event).detail;
  if (!desk()) return;
  if (!next) void refresh(here());
  else if (new URL(next, location.href).pathname === location.pathname) void refresh(next);
});
void look();
