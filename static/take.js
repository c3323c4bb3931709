// The live value beside what the keypad asks for, and what takes it: a tap, a pedal, or any device that sends keys. The
// value on the screen is the value kept: it fills the keypad's own form and goes the way of a typed one.

import { keep, openKeypad, show, tell } from "./keypad.js";
import { now } from "./live.js";
import { held } from "./outbox.js";
import { takes } from "./pedal.js";
import { say } from "./words.js";

const LOCK_MS = 400;
const FLASH_MS = 300;
const POINTS = 50;
const READ = ["flow", "vacuum", "pressure", "speed"];
const NAMES = ["look", "sd", "channel", "fixed", "values"];

/** What the keypad enters, since when, and the last values shown for it. @type {{key: string, since: number, values: number[]}} */
const entry = { key: "", since: 0, values: [] };

/** What was taken and is not on this tablet's disk yet. */
const taken = { key: "", value: "" };
let locked = -Infinity;

/** Whether any instrument has sent something since this tab was opened. */
let known = false;
/** @type {AudioContext | undefined} */
let sound;

/** @param {HTMLFormElement} form @param {string} name */
function valueOf(form, name) {
  const input = form.elements.namedItem(name);
  return input instanceof HTMLInputElement ? input.value : "";
}

/**
 * The value for the bore that the keypad enters: of the channel that is fixed to it, else of a probe that is carried;
 * of that alone where a carried probe is to prove what sensors of their own read.
 * @param {HTMLFormElement} form
 */
function offered(form) {
  const event = now();
  const all = Object.entries(event?.channels ?? {}).filter(([, one]) =>
    READ.includes(one.quantity) && one.unit === form.dataset.unit
  );
  const bore = Number(valueOf(form, "bore"));
  const own = form.dataset.proves ? undefined : all.find(([, one]) => one.bore === bore);
  const found = own ?? all.find(([, one]) => one.bore === null);
  return event && found ? { look: `${event.epoch}:${event.number}`, name: found[0], channel: found[1] } : null;
}

/**
 * What sensors of their own show of every bore that the round still reads, null unless all of them show something: one
 * tap takes them all. Not where a carried probe is to prove, nor where it is asked how an opening is reached.
 * @param {HTMLFormElement} form
 */
function offeredAll(form) {
  const event = now();
  const { walk = "", first = "", unit, proves } = form.dataset;
  const asks = proves || form.elements.namedItem("from_above") || document.querySelector(".ways");
  if (!event || !walk || asks || valueOf(form, "supersedes")) return null;
  const bores = [...new Set(`${walk} ${first}`.trim().split(" "))];
  const all = Object.entries(event.channels);
  const found = bores.map((bore) => {
    const of = all.find(([, one]) => String(one.bore) === bore && READ.includes(one.quantity) && one.unit === unit);
    return of?.[1].value === undefined ? null : { bore, name: of[0], channel: of[1] };
  });
  if (found.length < 2 || found.includes(null)) return null;
  return { look: `${event.epoch}:${event.number}`, found: found.flatMap((one) => one ?? []) };
}

/** Why a value is not ready yet, "" when it is. @param {import("./live.js").Channel | undefined} channel */
function missing(channel) {
  if (!channel || channel.value === undefined) {
    return `live-${channel && channel.state !== "live" ? channel.state : "stale"}`;
  }
  const carried = channel.bore === null && performance.now() - entry.since < 1000 * channel.wait;
  return carried ? "live-too-soon" : channel.missing ? `live-${channel.missing}` : "";
}

/** @param {number | undefined} sd a fraction */
function percent(sd) {
  return (100 * (sd ?? 0)).toFixed(1);
}

/** Draws the card's live value, or dashes where there is none. */
function draw() {
  const form = openKeypad();
  const card = /** @type {HTMLElement | null | undefined} */ (form?.querySelector("[data-live]"));
  if (!form || !card) return;
  const key = valueOf(form, "key");
  if (key !== entry.key) Object.assign(entry, { key, since: performance.now(), values: [] });
  if (valueOf(form, "value") !== taken.value) forget(form);
  const found = offered(form);
  const value = found?.channel.value;
  const why = missing(found?.channel);
  known ||= Object.keys(now()?.channels ?? {}).length > 0;
  card.hidden = !known || !form.dataset.unit;
  card.dataset.state = value === undefined ? "stale" : why === "" ? "ready" : "moving";
  const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (card.querySelector(`[data-live-${name}]`));
  part("value").textContent = value ?? "–";
  part("says").textContent = say(why || "live-settled", { sd: percent(found?.channel.sd) });
  const button = /** @type {HTMLButtonElement} */ (card.querySelector("[data-take]"));
  button.disabled = value === undefined || form.hasAttribute("data-asking");
  button.textContent = say(why === "" ? "live-take" : "live-take-anyway", { value: value ?? "–" });
  const every = /** @type {HTMLButtonElement | null} */ (card.querySelector("[data-take-all]"));
  if (every) drawAll(every, form);
  trace(card, value);
}

/** @param {HTMLButtonElement} button @param {HTMLFormElement} form */
function drawAll(button, form) {
  const all = offeredAll(form);
  const ready = all?.found.every(({ channel }) => missing(channel) === "");
  button.hidden = all === null;
  button.disabled = all === null || form.matches("[data-asking], [data-sent]");
  button.textContent = say(ready ? "live-take-all" : "live-take-all-anyway", { count: all?.found.length ?? 0 });
  /** @type {HTMLElement} */ (button.closest("[data-live]")).classList.toggle("has-all", all !== null);
}

/** Keeps what sensors show of all bores. @param {HTMLFormElement} form @param {HTMLElement} button */
function takeAll(form, button) {
  const all = offeredAll(form);
  if (!all) {
    tell(form, say("live-stale"));
    play([220, 220]);
    return;
  }
  const values = all.found.map(({ bore, name, channel }) => `${bore}:${name}:${channel.value}:${channel.sd}`).join(" ");
  forget(form);
  for (const [name, value] of Object.entries({ look: all.look, values })) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  }
  Object.assign(taken, { key: valueOf(form, "key"), value: "" });
  form.setAttribute("data-sent", "");
  form.requestSubmit(button);
}

/** @param {HTMLElement} card @param {string | undefined} value */
function trace(card, value) {
  if (value !== undefined) entry.values = [...entry.values, Number(value)].slice(-POINTS);
  const [low, high] = [Math.min(...entry.values), Math.max(...entry.values)];
  const span = Math.max(high - low, 0.02 * Math.abs(high), 1e-9);
  const middle = (low + high) / 2;
  const points = value === undefined
    ? ""
    : entry.values.map((one, n) => `${(100 * n) / POINTS},${(12 - (20 * (one - middle)) / span).toFixed(1)}`).join(" ");
  card.querySelector("polyline")?.setAttribute("points", points);
}

/** Takes off the form what a value was taken with. @param {HTMLFormElement} form */
function forget(form) {
  for (const name of NAMES) form.querySelector(`input[name="${name}"]`)?.remove();
}

/**
 * Keeps the value that is on the screen.
 * @param {HTMLFormElement} form
 * @param {boolean} anyway also one that has not settled
 */
function take(form, anyway) {
  const found = offered(form);
  const shown = form.querySelector("[data-live-value]")?.textContent ?? "";
  if (!found || found.channel.value !== shown || (!anyway && missing(found.channel) !== "")) {
    tell(form, say(missing(found?.channel) || "live-stale", { sd: percent(found?.channel.sd) }));
    play([220, 220]);
    return;
  }
  forget(form);
  const fixed = found.channel.bore === null ? "" : "1";
  const said = { look: found.look, sd: `${found.channel.sd}`, channel: found.name, fixed };
  for (const [name, value] of Object.entries(said)) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  }
  Object.assign(taken, { key: valueOf(form, "key"), value: shown });
  show(form, shown);
  keep(form, "");
}

/** Two low tones, or a high one. @param {number[]} tones [Hz] */
function play(tones) {
  for (const [n, tone] of tones.entries()) {
    if (sound?.state !== "running") return;
    const [wave, begin] = [sound.createOscillator(), sound.currentTime + 0.18 * n];
    wave.frequency.value = tone;
    wave.connect(sound.destination);
    wave.start(begin);
    wave.stop(begin + 0.12);
  }
}

/** Says that a taken value is on this tablet's disk: eyes are on the engine. */
function kept() {
  if (taken.key === "" || ![...held.writes, ...held.saved].some((write) => write.key === taken.key)) return;
  taken.key = "";
  play([1320]);
  navigator.vibrate?.(80);
  const card = document.querySelector("form[data-keypad]");
  card?.classList.add("is-kept");
  setTimeout(() => card?.classList.remove("is-kept"), FLASH_MS);
}

/** @returns {HTMLFormElement | null} the keypad, when a key of a pedal is for it */
function listening() {
  const form = openKeypad();
  const focus = document.activeElement;
  const elsewhere = focus instanceof HTMLElement &&
    focus.matches("input, select, textarea, [contenteditable], a, button, summary");
  const off = document.visibilityState !== "visible" || document.querySelector("dialog[open]") !== null || elsewhere;
  const card = form?.querySelector("[data-live]:not([hidden])");
  return !off && card && form && !form.matches("[data-sent], [data-asking]") && valueOf(form, "value") === ""
    ? form
    : null;
}

// Before the keypad hears of it: with nothing typed, its Enter would ask for a whole number.
window.addEventListener(
  "keydown",
  (event) => {
    sound ??= new AudioContext();
    const form = takes(event.key) && !event.ctrlKey && !event.altKey && !event.metaKey ? listening() : null;
    if (!form) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (event.repeat || performance.now() - locked < LOCK_MS) return;
    locked = performance.now();
    take(form, false);
  },
  true,
);

// Before the outbox reads the form: a value that was typed after all carries nothing of a live one.
window.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    const all = event.submitter?.matches("[data-take-all]");
    if (!(form instanceof HTMLFormElement) || !form.matches("[data-keypad]") || all) return;
    if (valueOf(form, "value") !== taken.value) {
      forget(form);
    }
  },
  true,
);

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("[data-take], [data-take-all]") : null;
  const form = button?.closest("form");
  if (button?.matches("[data-take-all]")) event.preventDefault();
  if (!(button instanceof HTMLElement) || !form || form.hasAttribute("data-sent")) return;
  button.blur();
  if (button.matches("[data-take-all]")) takeAll(form, button);
  else take(form, true);
});
window.addEventListener("pointerdown", () => {
  sound ??= new AudioContext();
});
document.addEventListener("live:event", draw);
document.addEventListener("outbox:changed", () => {
  kept();
  draw();
});
document.addEventListener("htmx:load", draw);
