// The reading page: draws on it what waits to be sent, and moves the keypad on through the round. The shop computer
// judges: a value that waits has no verdict.

import { dress, openKeypad, show } from "./keypad.js";
import { fieldOf, held, waiting } from "./outbox.js";
import { advance, choose, close, input, isSkip, keypad, nextOf, readings } from "./read_order.js";
import { counted } from "./status_bar.js";
import { say } from "./words.js";

/** @returns {HTMLElement | null} the page, when it shows a round */
export function desk() {
  return document.querySelector("main[data-version]");
}

/** @param {string | undefined} bore @returns {HTMLElement | null} */
function tileOf(bore) {
  return document.querySelector(`a.tile[data-bore="${bore}"]`);
}

/**
 * Draws the tile of a bore again.
 * @param {string} bore
 * @param {"to-read" | "next" | "closing" | "held" | "refused"} state
 * @param {{value?: string, word?: string, corner?: string, read?: boolean, skipped?: boolean}} says
 */
function draw(bore, state, { value = "", word = "", corner = "", read = false, skipped = false } = {}) {
  const tile = tileOf(bore);
  const blank = /** @type {HTMLTemplateElement | null} */ (document.querySelector(`template[data-blank="${state}"]`));
  const drawn = /** @type {HTMLElement | undefined} */ (blank?.content.firstElementChild?.cloneNode(true));
  if (!tile || !drawn) return;
  const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (drawn.querySelector(name));
  part(".tile-number").textContent = bore;
  if (value) (part(".tile-value s") ?? part(".tile-value")).textContent = value;
  if (word) part(".tile-word").textContent = word;
  if (corner || read) part(".tile-corner").textContent = corner;
  for (const fixed of tile.querySelectorAll("[data-stop], [data-bypass]")) part("svg").append(fixed);
  for (const shaft of tile.querySelectorAll("[data-shaft]")) part("svg").prepend(shaft);
  tile.className = read ? "tile is-read" : drawn.className;
  tile.replaceChildren(...drawn.childNodes);
  const spoken = [say("bore", { bore }), value, tile.querySelector(".tile-word")?.textContent];
  tile.setAttribute("aria-label", spoken.filter(Boolean).join(", "));
  if (state === "next" || state === "closing") tile.setAttribute("aria-current", "true");
  else tile.removeAttribute("aria-current");
  if (value && state === "held" && !skipped) tile.dataset.value = value;
}

/** Marks the tile of the bore that the keypad enters, and no other. @param {HTMLFormElement} form */
function mark(form) {
  const open = form === openKeypad();
  const bore = open ? input(form, "bore")?.value : "";
  const state = input(form, "kind")?.value === "closing" ? "closing" : "next";
  for (const tile of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("a.tile[aria-current]"))) {
    if (tile.dataset.bore !== bore) draw(tile.dataset.bore ?? "", "to-read");
  }
  const tile = tileOf(bore);
  if (!bore || !tile || tile.classList.contains(`is-${state}`)) return;
  draw(bore, state, { corner: tile.dataset.value });
  show(form, input(form, "value")?.value ?? "");
}

/**
 * The strip between the banks counts what is saved and not in the page yet, and what waits.
 * @param {import("./queue.js").Write[]} done
 */
function count(done) {
  const fresh = done.filter((w) => !fieldOf(w, "supersedes") && fieldOf(w, "kind") !== "again");
  const saved = fresh.filter((w) => "savedAt" in w).length;
  const waits = held.slow ? done.filter((w) => !("savedAt" in w)).length : 0;
  const shown = /** @type {HTMLElement | null} */ (document.querySelector(".strip [data-total]"));
  if (!shown) return;
  const { read = "0", total = "0" } = shown.dataset;
  const said = say("count-read", { read: Number(read) + saved, total });
  shown.textContent = waits > 0 ? say("count-waiting", { read: said, count: waits }) : said;
}

/** While something waits there is no verdict and no next step: both cards say so. */
function wait() {
  const waits = waiting();
  const verdict = document.querySelector(".verdict");
  const move = document.querySelector(".move");
  if (!held.slow || waits.length === 0 || !verdict || !move) return;
  move.removeAttribute("data-first");
  const form = openKeypad();
  const bore = form ? input(form, "bore")?.value : "";
  /** @type {[Element, string, string][]} */
  const said = [
    [verdict, say("verdict-waits"), say("verdict-reason", { what: counted(waits) })],
    [move, bore ? say("read-on", { bore }) : say("wait"), say("step-reason")],
  ];
  for (const [card, title, sentence] of said) {
    const [heading, text] = [card.querySelector("h2 span"), card.querySelector(":scope > p")];
    if (heading) heading.textContent = title;
    if (text) text.textContent = sentence;
    for (const gone of card.querySelectorAll("h2 svg, .ruler, form")) gone.remove();
  }
}

/** Goes on from the engine speed to the first bore, once the speed is held. @returns {HTMLFormElement | null} the keypad */
function pastSpeed() {
  const form = keypad();
  const then = /** @type {HTMLTemplateElement | null} */ (document.querySelector("template[data-after-speed]"));
  const fresh = then?.content.firstElementChild?.cloneNode(true);
  if (!form || !(fresh instanceof HTMLFormElement) || input(form, "bore")) return form;
  const round = input(form, "round")?.value ?? "";
  const url = form.getAttribute("action");
  const all = [...held.saved, ...held.writes];
  if (!all.some((w) => w.url === url && w.reason === "" && fieldOf(w, "round") === round)) return form;
  form.replaceWith(fresh);
  htmx.process(fresh);
  dress(document);
  return fresh;
}

/** Whether a write is the engine speed of the round that a keypad reads. @param {HTMLFormElement} form */
function ofItsSpeed(form) {
  return (/** @type {import("./queue.js").Write} */ w) =>
    w.url.endsWith("/speed") && fieldOf(w, "round") === form.dataset.round;
}

/** Draws on the page as served what is not in it yet. */
export function lay() {
  const form = pastSpeed();
  if (!form || !desk()) return;
  const mine = readings(form);
  const done = mine.filter((w) => w.reason === "");
  for (const w of mine) {
    const [bore, value] = [fieldOf(w, "bore"), fieldOf(w, "value")];
    const saved = "savedAt" in w;
    if (w.reason !== "") {
      if (document.querySelector(`a.tile.is-to-read[data-bore="${bore}"]`)) draw(bore, "refused", { value });
    } else if (isSkip(w)) {
      draw(bore, "held", { value: "–", word: say("tile-skipped"), read: saved, skipped: true });
    } else if (fieldOf(w, "kind") === "closing") {
      const turn = tileOf(bore)?.dataset.value;
      draw(bore, "held", { value: turn ?? value, word: say("tile-drift-check", { value }), read: saved });
    } else {
      draw(bore, "held", { value, word: saved ? say("tile-saved") : say("tile-waiting"), read: saved });
    }
  }
  if (form === openKeypad()) {
    const next = nextOf(form, done);
    const typing = input(form, "value")?.value && !form.hasAttribute("data-sent");
    if (next && !typing) advance(form, next, done);
  }
  const speed = ofItsSpeed(form);
  const others = waiting().filter((w) =>
    w.url.split("/")[2] === form.action.split("/")[4] && !mine.includes(w) && !speed(w)
  );
  if (others.length > 0 && form === openKeypad()) close(form);
  mark(form);
  desk()?.setAttribute("aria-busy", String(waiting().length + held.saved.length > 0));
  for (const way of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll(".ways input"))) {
    way.disabled = done.length > 0 && !way.checked;
  }
  count(done);
  wait();
}

// Without a connection a tap on a bore is served here; with one the shop computer decides what may be entered.
document.addEventListener(
  "click",
  (event) => {
    const tile = event.target instanceof Element ? event.target.closest("a.tile") : null;
    const form = keypad();
    if (!(tile instanceof HTMLElement) || !form || held.trouble !== "connection" || !input(form, "bore")) return;
    event.preventDefault();
    event.stopPropagation();
    if (tile.hasAttribute("aria-current")) return;
    choose(form, tile);
    document.querySelector(".move")?.removeAttribute("data-first");
    mark(form);
  },
  true,
);

document.addEventListener("outbox:changed", lay);
document.addEventListener("htmx:load", lay);
