// Every write of a visit goes through here: it is stored on this tablet first, then sent, in order, until the shop
// computer confirms it. What it rejects is kept with the reason until the person sends it again or discards it.
//
// One sender for each page, the oldest write first, so a new reading never overtakes an old one. Two tabs may both send
// the same write: it carries its key, and the shop computer stores a key once. A write is let go only when its own key
// comes back; any other answer, even a page without an error, may be from another device.
//
// The rest of the page hears of it by events on the document: outbox:changed (something is held, sent or in trouble),
// outbox:refused, outbox:rest (nothing waits any more), and outbox:first (a form has to wait for what is held).

import * as queue from "./queue.js";
import { say } from "./words.js";

const ANSWER_MS = 5000;
const FIRST_MS = 1000;
const LONGEST_MS = 15000;
const SLOW_MS = 700;
const OF_A_VISIT = /^\/visits\/\d+\//;
const TRY_AGAIN = [401, 408, 425, 429];

/**
 * The state of the outbox. `writes` are held; `saved` were sent and may not be in the page yet; `trouble` is why the
 * last attempt failed ("connection", "server", "pairing", "stranger", or ""), `failed` how often in a row; `slow` when
 * something has waited long enough to be shown; `known` once the tablet was asked what it holds.
 * @type {{writes: queue.Write[], saved: (queue.Write & {savedAt: number})[], trouble: string, failed: number,
 *   slow: boolean, known: boolean}}
 */
export const held = { writes: [], saved: [], trouble: "", failed: 0, slow: false, known: false };

/**
 * Where on this page each write came from: its form, and the address that the page had.
 * @type {Map<string, {form?: HTMLElement, path: string}>}
 */
const origins = new Map();
const tabs = new BroadcastChannel("evenbore");

/** @param {queue.Write} write @param {string} name */
export function fieldOf(write, name) {
  return write.fields.find(([one]) => one === name)?.[1] ?? "";
}

/** The writes that wait for the shop computer, oldest first. */
export function waiting() {
  return held.writes.filter((write) => write.reason === "");
}

/** @param {string} name @param {object} detail */
function tell(name, detail = {}) {
  document.dispatchEvent(new CustomEvent(name, { detail }));
}

/** Looks at the queue and tells the page. */
async function changed() {
  held.writes = await queue.all();
  const oldest = waiting()[0];
  const age = oldest ? Date.now() - oldest.at : 0;
  held.slow = oldest !== undefined && (held.trouble !== "" || age >= SLOW_MS || age < 0);
  if (oldest && !held.slow) setTimeout(changed, SLOW_MS - age);
  held.known = true;
  tell("outbox:changed");
}

/** The same, in every tab of this tablet. */
async function changedHere() {
  tabs.postMessage("changed");
  await changed();
}

/** @param {EventTarget | null} target @returns {HTMLFormElement | null} the form, when this outbox takes it */
function taken(target) {
  if (!(target instanceof HTMLFormElement) || target.hasAttribute("data-direct")) return null;
  const path = new URL(target.getAttribute("action") ?? "", location.href).pathname;
  const keyed = target.querySelector("input[name=key]");
  return target.method === "post" && OF_A_VISIT.test(path) && keyed ? target : null;
}

/** A PIN is never stored on a tablet: such a form is sent directly. @param {HTMLFormElement} form */
function isSecret(form) {
  return form.querySelector("input[type=password]") !== null;
}

/**
 * Holds what a form says. Only once it is on the tablet's disk does the page go on.
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} submitter
 */
async function hold(form, submitter) {
  if (form.hasAttribute("data-holding")) return;
  form.setAttribute("data-holding", "");
  const fields = [...new FormData(form)].map(([name, value]) => /** @type {[string, string]} */ ([name, `${value}`]));
  if (submitter instanceof HTMLButtonElement && submitter.name) fields.push([submitter.name, submitter.value]);
  const write = {
    key: /** @type {HTMLInputElement} */ (form.querySelector("input[name=key]")).value,
    url: submitter?.getAttribute("formaction") ?? form.getAttribute("action") ?? "",
    fields,
    at: Date.now(),
    reason: "",
  };
  try {
    await queue.add(write);
  } catch {
    sendDirectly(form, submitter);
    return;
  } finally {
    form.removeAttribute("data-holding");
  }
  origins.set(write.key, { form, path: location.pathname });
  if (!form.matches("[data-keypad]")) form.inert = true;
  await changedHere();
  void drain();
}

/** The tablet stores nothing (a private window, a full disk): the form is sent directly and shows the result. */
function sendDirectly(/** @type {HTMLFormElement} */ form, /** @type {HTMLElement | null} */ submitter) {
  form.setAttribute("data-direct", "");
  form.requestSubmit(submitter);
  form.removeAttribute("data-direct");
}

/**
 * Sends one write once.
 * @param {queue.Write} write
 * @returns {Promise<{next?: string, reason?: string, page?: string, trouble?: string}>} what became of it
 */
async function send(write) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), ANSWER_MS);
  try {
    const answer = await fetch(write.url, {
      method: "POST",
      body: new URLSearchParams(write.fields),
      headers: { "X-Outbox": `${Math.max(0, Date.now() - write.at) / 1000}` },
      redirect: "manual",
      cache: "no-store",
      signal: stop.signal,
    });
    if (answer.ok && answer.headers.get("X-Saved-Key") === write.key) {
      return { next: answer.headers.get("X-Next") ?? "" };
    }
    if (answer.status >= 400 && answer.status < 500 && !TRY_AGAIN.includes(answer.status)) {
      const said = decodeURIComponent(answer.headers.get("X-Refused") ?? "");
      return { reason: said || say("rejected", { status: answer.status }), page: await answer.text() };
    }
    if (answer.status === 401) return { trouble: "pairing" };
    return { trouble: answer.status >= 400 ? "server" : "stranger" };
  } catch {
    return { trouble: "connection" };
  } finally {
    clearTimeout(timer);
  }
}

let sending = false;
let asked = false;
let pause = 0;
/** @type {number | undefined} */
let timer;

/** Sends what waits, oldest first, until nothing does or the connection fails; then tries again after a while. */
export async function drain() {
  asked = true;
  if (sending) return;
  sending = true;
  clearTimeout(timer);
  try {
    while (asked) {
      asked = false;
      if (!(await sendAll())) {
        pause = Math.min(Math.max(FIRST_MS, pause * 2), LONGEST_MS);
        timer = setTimeout(drain, pause);
        return;
      }
      pause = 0;
    }
  } finally {
    sending = false;
  }
}

/** @returns {Promise<boolean>} whether nothing waits any more */
async function sendAll() {
  let next = "";
  let came = false;
  let write;
  while ((write = (await queue.all()).find((one) => one.reason === ""))) {
    const { next: after, reason, page, trouble } = await send(write);
    held.trouble = trouble ?? "";
    held.failed = trouble ? held.failed + 1 : 0;
    if (trouble) {
      await changed();
      return false;
    }
    came = true;
    const origin = origins.get(write.key);
    origins.delete(write.key);
    if (reason !== undefined) {
      await queue.refuse(write, reason);
      await changedHere();
      tell("outbox:refused", { write, page, origin });
    } else {
      held.saved.push({ ...write, savedAt: performance.now() });
      await queue.drop(write);
      if (origin?.path === location.pathname && after) next = after;
      await changedHere();
    }
  }
  if (came) tell("outbox:rest", { next });
  return true;
}

/** A page that was asked for at `begun` is here: what was sent before that is in it. @param {number} begun */
export function seen(begun) {
  held.saved = held.saved.filter((write) => write.savedAt > begun);
}

/** Something else of the page reached the shop computer, or did not. @param {boolean} well */
export function reached(well) {
  const was = held.trouble;
  if (well && was === "connection") {
    held.trouble = "";
    void changed();
    void drain();
  } else if (!well && was === "") {
    held.trouble = "connection";
    void changed();
  }
}

/**
 * Sends a rejected write again and goes to its page then. What was asked about a value is answered by that.
 * @param {queue.Write} write
 */
export async function tryAgain(write) {
  origins.set(write.key, { path: location.pathname });
  /** @type {[string, string][]} */
  const fields = write.fields.map(([name, value]) => [name, name === "sure" ? "1" : value]);
  await queue.refuse({ ...write, fields }, "");
  await changedHere();
  void drain();
}

/** Lets the others go first: a write that the shop computer cannot store is listed with the rejected ones. @param {queue.Write} write */
export async function setAside(write) {
  await queue.refuse(write, say("because-server"));
  await changedHere();
  void drain();
}

/** Discards a rejected write for good. @param {queue.Write} write */
export async function forget(write) {
  await queue.drop(write);
  await changedHere();
}

document.addEventListener(
  "submit",
  (event) => {
    const form = taken(event.target);
    const first = waiting();
    if (!form || (isSecret(form) && first.length === 0)) return;
    event.preventDefault();
    event.stopPropagation();
    if (isSecret(form)) tell("outbox:first", { writes: first });
    else void hold(form, event.submitter);
  },
  true,
);
tabs.onmessage = ({ data }) => data === "changed" && void changed();
window.addEventListener("online", () => void drain());
window.addEventListener("pageshow", () => void drain());
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && void drain());
void changed().catch(() => {
  held.known = true; // a tablet that keeps nothing holds nothing
  tell("outbox:changed");
});
