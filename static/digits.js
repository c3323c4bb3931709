// The keys of a figure that a checklist asks for: they type into its field, and the tablet's own keyboard stays away.

/** Shows the keys where a script can serve them. */
function showKeys() {
  for (const keys of document.querySelectorAll("[data-digits]")) {
    const input = document.getElementById(keys.getAttribute("data-digits") ?? "");
    if (!(input instanceof HTMLInputElement)) continue;
    input.setAttribute("inputmode", "none");
    keys.removeAttribute("hidden");
  }
}

document.addEventListener("click", (event) => {
  const key = event.target instanceof Element ? event.target.closest("button[data-digit]") : null;
  if (!(key instanceof HTMLElement)) return;
  const input = document.getElementById(key.dataset.into ?? "");
  if (!(input instanceof HTMLInputElement)) return;
  const typed = key.dataset.digit ?? "";
  input.value = typed === "back" ? input.value.slice(0, -1) : input.value + typed;
});

document.addEventListener("htmx:load", showKeys);
showKeys();
