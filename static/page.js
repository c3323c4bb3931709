// What pages can do without: a scanner's first key goes to the search box; a button prints, another fills a field; a
// visit keeps the screen awake where the browser allows it; cautions that lie over a page go from under the next tap; a
// list that was opened or folded stays so on this tablet; a form that came back goes to what is wrong.

document.addEventListener("keydown", (event) => {
  const search = document.querySelector("input[data-scan]");
  if (!(search instanceof HTMLInputElement) || document.activeElement !== document.body) return;
  if (event.key.length === 1 && !event.ctrlKey && !event.altKey && !event.metaKey) search.focus();
});

document.addEventListener("click", (event) => {
  if (event.target instanceof Element && event.target.closest("[data-print]")) window.print();
});

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button[data-fill]") : null;
  if (!(button instanceof HTMLElement)) return;
  const input = document.getElementById(button.dataset.fill ?? "");
  if (input instanceof HTMLInputElement) input.value = button.textContent.trim();
});

/** Folds the cautions that lie over a page, which a tap beside them or Escape does. @param {Node | null} beside */
function foldCautions(beside = null) {
  for (const open of document.querySelectorAll("details.mind[open]")) {
    if (beside === null || !open.contains(beside)) open.removeAttribute("open");
  }
}

document.addEventListener("click", (event) => {
  if (event.target instanceof Node) foldCautions(event.target);
});

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") foldCautions();
});

/** Shows the buttons that only a script can serve. */
function showPrint() {
  for (const button of document.querySelectorAll("[data-print]")) button.removeAttribute("hidden");
}

/** @type {WakeLockSentinel | undefined} */
let awake;

/** A visit's page keeps the screen on, as long as it is looked at. Plain http over a network has no such thing. */
async function stayAwake() {
  const wanted = document.querySelector("main.visit") !== null && document.visibilityState === "visible";
  if (wanted === (awake !== undefined && !awake.released)) return;
  try {
    if (wanted) awake = await navigator.wakeLock?.request("screen");
    else await awake?.release();
  } catch {
    // the tablet's own setting decides then
  }
}

const WHOLE_LIST = "whole-list";

document.addEventListener("click", (event) => {
  const list = event.target instanceof Element ? event.target.closest(".whole-list > summary")?.parentElement : null;
  if (list instanceof HTMLDetailsElement) localStorage.setItem(WHOLE_LIST, list.open ? "" : "open");
});

/** Opens the list that is folded under what is asked, where this tablet had it open. */
function openList() {
  if (!localStorage.getItem(WHOLE_LIST)) return;
  for (const list of document.querySelectorAll(".whole-list")) list.setAttribute("open", "");
}

/** A form that came back goes to the first field that is wrong, which may lie far below what says so. */
function goToWrong() {
  const wrong = document.querySelector(".page-form [aria-invalid=true]");
  const box = wrong instanceof HTMLFieldSetElement ? wrong.querySelector("input") : wrong;
  if (box instanceof HTMLElement) box.focus();
}

function arrive() {
  showPrint();
  openList();
  void stayAwake();
}

document.addEventListener("htmx:load", arrive);
document.addEventListener("visibilitychange", stayAwake);
arrive();
goToWrong();
