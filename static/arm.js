// A second tap cannot hit what the page asks next: after a new question came up, its buttons take no tap for a moment.
// They are marked data-arming and aria-disabled for that long, and keep the focus. After an adjustment the moment is
// longer, and a box that fills lies over the answers or keys.

const MOMENT_MS = 700;
const REST_MS = 1500;

/** What the page asks, as asked last. */
let asked = "";
let until = 0;
/** The adjustment that was rested after last, and until when. */
let rested = "";
let restUntil = 0;
/** @type {number | undefined} */
let timer;

/** @returns {HTMLElement[]} the parts of the page that ask for something */
function asks() {
  return [...document.querySelectorAll("[data-asks]")].map((one) => /** @type {HTMLElement} */ (one));
}

/** @returns {HTMLElement[]} the boxes that lie over the answers or keys after an adjustment, which names them */
function boxes() {
  return [...document.querySelectorAll("[data-rest]")].map((one) => /** @type {HTMLElement} */ (one));
}

/** @returns {HTMLElement[]} what takes no tap now: what asks, and the keys that a box lies over */
function parts() {
  const keypads = boxes().map((box) => box.closest("form[data-keypad]"));
  return [...new Set([...asks(), ...keypads.filter((one) => one instanceof HTMLElement)])];
}

/** What a part asks: its words, and what its form sends. Only the key of the form differs when it is drawn again. @param {HTMLElement} ask */
function question(ask) {
  const fields = [.../** @type {NodeListOf<HTMLInputElement>} */ (ask.querySelectorAll("input[type=hidden]"))];
  return [ask.textContent, ...fields.filter((one) => one.name !== "key").map((one) => one.value)].join("\n");
}

/** @param {HTMLElement} ask @param {boolean} waits */
function hold(ask, waits) {
  ask.toggleAttribute("data-arming", waits);
  for (const button of ask.querySelectorAll("button, a.answer")) {
    if (waits) button.setAttribute("aria-disabled", "true");
    else button.removeAttribute("aria-disabled");
  }
}

/** Shows the boxes for as long as they lie there, filled as far as that has gone. @param {number} now */
function lieOver(now) {
  for (const box of boxes()) {
    box.hidden = now >= restUntil;
    box.style.setProperty("--gone", `${Math.round(restUntil - REST_MS - now)}ms`);
  }
}

function release() {
  for (const part of parts()) hold(part, false);
  lieOver(performance.now());
}

/** Lets what the page asks now wait for its moment, unless it was asked already. */
export function arm() {
  const said = asks().map(question).join("\n");
  const now = performance.now();
  if (said !== asked) until = Math.max(until, now + MOMENT_MS);
  asked = said;
  const made = boxes()[0]?.dataset.rest ?? "";
  if (made && made !== rested) {
    rested = made;
    restUntil = until = now + REST_MS;
  }
  lieOver(now);
  if (until <= now) return;
  for (const part of parts()) hold(part, true);
  clearTimeout(timer);
  timer = setTimeout(release, until - now);
}

document.addEventListener(
  "click",
  (event) => {
    const tapped = event.target instanceof Element ? event.target.closest("[data-arming] :is(button, a)") : null;
    if (!tapped) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  },
  true,
);
document.addEventListener("htmx:load", arm);
arm();
