// What a person ticked or typed while the page was on its way to be drawn anew stays. The forms that were sent are inert;
// every other one is told again by where it goes and what it is called.

const ENTRIES = "input:not([type=hidden], [type=password]), select, textarea";

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Entry */

/** @param {Entry} entry @returns {boolean} whether it can be ticked */
function ticks(entry) {
  return entry.type === "checkbox" || entry.type === "radio";
}

/** @param {Entry} entry @returns {boolean} whether a person changed it since the page came */
function changed(entry) {
  if (entry instanceof HTMLSelectElement) {
    const first = [...entry.options].find((one) => one.defaultSelected) ?? entry.options[0];
    return entry.selectedIndex !== (first?.index ?? -1);
  }
  if (entry instanceof HTMLInputElement && ticks(entry)) return entry.checked !== entry.defaultChecked;
  return entry.value !== entry.defaultValue;
}

/** @param {Entry} entry @returns {string} the same for the same entry of a page that is drawn anew */
function named(entry) {
  const form = entry.form;
  const says = ["action", "aria-label", "aria-labelledby"].map((name) => form?.getAttribute(name));
  return JSON.stringify([...says, entry.name, ticks(entry) ? entry.value : ""]);
}

/** @returns {Entry[]} */
function entries() {
  return [
    .../** @type {NodeListOf<Entry>} */ (document.querySelectorAll(`form:not([inert], [data-keypad]) :is(${ENTRIES})`)),
  ]
    .filter((one) => one.name && !one.disabled);
}

/** @returns {() => void} what puts the entries as they are now into the page that is drawn in place of this one */
export function unsent() {
  const kept = new Map(entries().filter(changed).map((one) => [named(one), one]));
  return () => {
    for (const entry of entries()) {
      const old = kept.get(named(entry));
      if (!old) continue;
      if (entry instanceof HTMLInputElement && old instanceof HTMLInputElement && ticks(entry)) {
        entry.checked = old.checked;
      } else entry.value = old.value;
      for (let list = entry.closest("details"); list; list = list.parentElement?.closest("details") ?? null) {
        list.open = true;
      }
    }
  };
}
