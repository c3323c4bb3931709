// A second tap cannot hit what the page asks next: after a new question came up, its buttons take no tap for a moment.
// They are marked data-arming and aria-disabled for that long, and keep the focus.

const MOMENT_MS = 700;

/** What the page asks, as asked last. */
let asked = "";
let until = 0;
/** @type {number | undefined} */
let timer;

/** @returns {HTMLElement[]} the parts of the page that ask for something */
function asks() {
  return [...document.querySelectorAll("[data-asks]")].map((one) => /** @type {HTMLElement} */ (one));
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

function release() {
  for (const ask of asks()) hold(ask, false);
}

/** Lets what the page asks now wait for its moment, unless it was asked already. */
export function arm() {
  const now = asks().map(question).join("\n");
  if (now !== asked) until = performance.now() + MOMENT_MS;
  asked = now;
  const left = until - performance.now();
  if (left <= 0) return;
  for (const ask of asks()) hold(ask, true);
  clearTimeout(timer);
  timer = setTimeout(release, left);
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
