// Small helps that pages can do without: a scanner's first key finds the search box; a button prints.

document.addEventListener("keydown", (event) => {
  const search = document.querySelector("input[data-scan]");
  if (!(search instanceof HTMLInputElement) || document.activeElement !== document.body) return;
  if (event.key.length === 1 && !event.ctrlKey && !event.altKey && !event.metaKey) search.focus();
});

document.addEventListener("click", (event) => {
  if (event.target instanceof Element && event.target.closest("[data-print]")) window.print();
});

/** Shows the buttons that only a script can serve. */
function showPrint() {
  for (const button of document.querySelectorAll("[data-print]")) button.removeAttribute("hidden");
}

document.addEventListener("htmx:load", showPrint);
showPrint();
