// After a write: the page it leads to, once the shop computer has it, or the page that says why not.

import { held, reached, seen } from "./outbox.js";
import { unsent } from "./unsent.js";

const ANSWER_MS = 4000;
const AGAIN_MS = 2000;

/** The shop computer answered, but not with the page. */
class BrokenError extends Error {}

/** The shop computer answered, with the page or without. @param {boolean} well */
function came(well) {
  document.dispatchEvent(new CustomEvent("page:came", { detail: { well } }));
  reached(true);
}

/**
 * The page at a path, and the path it was found at in the end. Throws when the shop computer does not answer with one.
 * @param {string} path
 */
export async function fetchPage(path) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), ANSWER_MS);
  try {
    const answer = await fetch(path, { cache: "no-store", signal: stop.signal });
    if (!answer.ok) throw new BrokenError(`${answer.status}`);
    const page = { html: await answer.text(), path: new URL(answer.url).pathname + new URL(answer.url).search };
    came(true);
    return page;
  } catch (error) {
    if (error instanceof BrokenError) came(false);
    else reached(false);
    throw error;
  } finally {
    clearTimeout(timer);
  }
}

/**
 * Shows a page in place of this one.
 * @param {string} html
 * @param {string} path "" leaves the address as it is
 */
function put(html, path) {
  const keep = unsent();
  htmx.swap(document.body, html, { swapStyle: "innerHTML" });
  keep();
  if (path) history.pushState({ htmx: true }, "", path);
  scrollTo(0, 0);
}

/** Where the page has still to go, "" when it is there. */
let wanted = "";
/** Since when: a page that was asked for before that does not hold what was saved last. */
let since = 0;
/** @type {number | undefined} */
let again;

async function go() {
  clearTimeout(again);
  if (!wanted) return;
  const path = wanted;
  const begun = performance.now();
  try {
    const page = await fetchPage(path);
    if (path !== wanted || begun < since) return;
    wanted = "";
    seen(begun);
    put(page.html, page.path);
  } catch {
    // reached() has said so; the next answer of the shop computer brings this here again, or the time does
    if (path === wanted) again = setTimeout(go, AGAIN_MS);
  }
}

document.addEventListener("outbox:rest", (event) => {
  const { next } = /** @type {CustomEvent} */ (event).detail;
  const desk = document.querySelector("[data-version]");
  if (!next || (desk && new URL(next, location.href).pathname === location.pathname)) return;
  wanted = next;
  since = performance.now();
  void go();
});

document.addEventListener("outbox:refused", (event) => {
  const { page, origin, write } = /** @type {CustomEvent} */ (event).detail;
  const pad = /** @type {HTMLFormElement | null} */ (document.querySelector("form[data-keypad]"));
  const typed = /** @type {HTMLInputElement | null | undefined} */ (pad?.elements.namedItem("value"))?.value;
  const busy = typed || pad?.hasAttribute("data-asking");
  const shows = origin?.path === location.pathname && !busy && page.includes(`value="${write.key}"`);
  if (shows) put(page, "");
  else document.dispatchEvent(new CustomEvent("page:stayed", { detail: { write } }));
  if (origin?.form) origin.form.inert = false;
});

document.addEventListener("outbox:changed", () => {
  if (wanted && held.trouble === "") void go();
});

// A person who opens another page is not taken back.
document.addEventListener("htmx:beforeRequest", () => (wanted = ""));
