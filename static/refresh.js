// Keeps the reading page current: it asks every second whether another tablet saved something, and takes over what
// changed without disturbing a person who is typing or about to tap.

import { arm } from "./arm.js";
import { desk, lay } from "./desk.js";
import { fetchPage } from "./follow.js";
import { renewStrip } from "./just_saved.js";
import { dress, openKeypad, show, tell } from "./keypad.js";
import { reached, seen } from "./outbox.js";
import { advance, entry, input, keypad, nextOf, readings } from "./read_order.js";
import { say } from "./words.js";

const LOOK_MS = 1000;
const ANSWER_MS = 5000;

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
    tell(old, say("new-round"));
    return;
  }
  if (typing) {
    const bore = input(old, "bore")?.value ?? "";
    const turn = input(old, "kind")?.value === "turn" && !input(old, "supersedes")?.value;
    if (turn && !fresh.dataset.walk?.split(" ").includes(bore)) tell(old, say("read-elsewhere", { bore }));
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

/** The way that was chosen to reach an opening stays chosen. @param {Element} old @param {Element} fresh */
function keepWay(old, fresh) {
  const chosen = /** @type {HTMLInputElement | null} */ (old.querySelector(".ways input:checked"));
  const same = /** @type {HTMLInputElement | null} */ (fresh.querySelector(`.ways input[value="${chosen?.value}"]`));
  if (same) same.checked = true;
}

/** @param {Element} main @returns {HTMLFormElement | null} */
function keypadIn(main) {
  return main.querySelector("form[data-keypad]");
}

/** Takes over the parts of a newer page. @param {Document} page */
function renew(page) {
  const [now, fresh] = [desk(), /** @type {HTMLElement | null} */ (page.querySelector("main[data-version]"))];
  if (!now || !fresh) return;
  const focused = document.activeElement?.closest("a.tile")?.getAttribute("data-bore");
  const sameRound = keypadIn(now)?.dataset.round === keypadIn(fresh)?.dataset.round;
  for (const part of [":scope > nav", ":scope > .engine", ":scope > .verdict", ":scope > .move", ":scope > .linkage"]) {
    const [old, one] = [now.querySelector(part), fresh.querySelector(part)];
    if (!old || !one) continue;
    if (sameRound) keepWay(old, one);
    old.replaceWith(one);
    htmx.process(one);
  }
  const [was, saved] = [now, fresh].map((page) => page.querySelector(":scope > .just-saved"));
  if (was && saved) renewStrip(was, saved);
  const [old, one] = [keypadIn(now), keypadIn(fresh)];
  if (old && one) renewKeypad(old, one);
  arm();
  now.dataset.version = fresh.dataset.version;
  if (focused) /** @type {HTMLElement | null} */ (now.querySelector(`a.tile[data-bore="${focused}"]`))?.focus();
  const form = keypad();
  if (form && form === openKeypad()) show(form, input(form, "value")?.value ?? "");
}

let renewing = false;
let again = false;
/** Where a write led that this page does not show yet, "" for nowhere: it says what was just saved. */
let led = "";

/** Fetches this page again, as the last write left it, and takes over what changed. */
async function refresh() {
  again = true;
  if (renewing) return;
  renewing = true;
  try {
    while (again) {
      again = false;
      const wanted = led || here();
      const begun = performance.now();
      const { html, path: found } = await fetchPage(wanted);
      await fingerUp();
      if (new URL(found, location.href).pathname !== new URL(wanted, location.href).pathname) {
        location.assign(found); // a stop takes the whole screen
        return;
      }
      if (new URL(wanted, location.href).pathname !== location.pathname) {
        led = "";
        continue;
      }
      if (again) continue;
      seen(begun);
      renew(new DOMParser().parseFromString(html, "text/html"));
      history.replaceState(history.state, "", wanted);
      if (wanted === led) led = "";
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
      if (answer.status === 200 && page.isConnected && page.dataset.version === version) void refresh();
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

document.addEventListener("outbox:rest", (event) => {
  const { next } = /** @type {CustomEvent} */ (event).detail;
  if (!desk()) return;
  if (next && new URL(next, location.href).pathname !== location.pathname) return;
  led = next || led;
  void refresh();
});
void look();
