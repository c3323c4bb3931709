// What instruments show now. One tab of a browser is handed the stream and tells the others of it: plain http allows few
// connections to one computer. Where no stream comes through, the newest event is asked for once a second.
//
// The rest of the page hears of it by live:event on the document. An event that is older than STALE_MS by this tablet's
// own clock is none.

const STALE_MS = 1000;
const SILENT_MS = 600;
const NO_STREAM_MS = 4000;
const LOOK_MS = 250;

/**
 * A channel as it is now. `bore` is null for a probe that is carried; `wait` seconds pass after it was carried.
 * @typedef {{state: string, quantity: string, unit: string, bore: number | null, wait: number, value?: string,
 *   sd?: number, missing?: string}} Channel
 */
/** `stopped` is the visit whose engine a figure stops. */
/** @typedef {{epoch: string, number: number, channels: Record<string, Channel>, stopped: number | null}} LiveEvent */

/** @type {{event: LiveEvent | null, at: number}} */
const newest = { event: null, at: -Infinity };

/** Since when this tab may have heard of the stream of another. */
const begun = performance.now();
const tabs = new BroadcastChannel("evenbore");
const own = Math.random();

/** @type {EventSource | null} */
let stream = null;
let opened = 0;
let asking = false;

/** @returns {LiveEvent | null} the newest event, null once it is old */
export function now() {
  return performance.now() - newest.at < STALE_MS ? newest.event : null;
}

/** @returns {boolean} whether this page shows live values */
function wanted() {
  return document.querySelector("[data-live], [data-live-visit]") !== null && document.visibilityState === "visible";
}

/** @param {LiveEvent} event */
function arrived(event) {
  newest.event = event;
  newest.at = performance.now();
  const visit = /** @type {HTMLElement | null} */ (document.querySelector("[data-live-visit]"))?.dataset.liveVisit;
  if (visit && visit === `${event.stopped}`) location.assign(`/visits/${visit}/stop`);
  document.dispatchEvent(new CustomEvent("live:event"));
}

/** @param {string} text what the shop computer sent, for this tab and the others */
function told(text) {
  const event = JSON.parse(text);
  arrived(event);
  tabs.postMessage({ live: event, from: own });
}

function open() {
  opened = performance.now();
  stream = new EventSource("/api/live/events");
  stream.onmessage = (message) => told(message.data);
}

function close() {
  stream?.close();
  stream = null;
}

/** Asks once, where a stream is held back on its way. */
async function ask() {
  if (asking) return;
  asking = true;
  try {
    const answer = await fetch("/live/now", { cache: "no-store" });
    if (answer.ok) told(await answer.text());
  } catch {
    // nothing comes: the page shows that by itself
  } finally {
    setTimeout(() => (asking = false), STALE_MS);
  }
}

/** Opens, closes, or asks for what is due, and has the page look whether its values are old. */
function look() {
  const silent = performance.now() - Math.max(newest.at, begun);
  if (!wanted()) close();
  else if (!stream && silent > SILENT_MS) open();
  else if (stream && silent > NO_STREAM_MS && performance.now() - opened > NO_STREAM_MS) void ask();
  if (wanted() && silent > STALE_MS) document.dispatchEvent(new CustomEvent("live:event"));
}

tabs.addEventListener("message", ({ data }) => {
  if (!data?.live) return;
  if (stream && data.from < own) close();
  if (!stream) arrived(data.live);
});
document.addEventListener("visibilitychange", look);
document.addEventListener("htmx:load", look);
setInterval(look, LOOK_MS);
