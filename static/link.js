// When the shop computer does not answer, the page says so and keeps what was typed; the same tap sends it again under
// the same key, so nothing is stored twice.

/** @param {string} bold @param {string} detail */
function tell(bold, detail) {
  const state = document.getElementById("link-state");
  if (!state) return;
  state.classList.add("is-held");
  const words = state.querySelector("span");
  if (!words) return;
  const strong = document.createElement("b");
  strong.textContent = bold;
  words.replaceChildren(strong, detail);
  for (const form of document.querySelectorAll("form[data-sent]")) form.removeAttribute("data-sent");
}

for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, () => tell("No link.", "Not saved; tap it again"));
}
document.addEventListener("htmx:responseError", (event) => {
  const status = /** @type {CustomEvent} */ (event).detail.xhr.status;
  if (status === 413) tell("Not saved.", "Too much for one form: shorten it and send it again");
  else tell("Not saved.", "The shop computer could not; tap it again");
});
