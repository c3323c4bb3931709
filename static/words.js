// The texts that the scripts show, in the language of the page. The page carries them in one block, so that they are
// there without a connection; app/wording/program/scripts.py is where they are written.

/** A text, or one for each plural category that its language has. @typedef {string | Record<string, string>} Words */

/** @type {Record<string, Words>} */
const WORDS = JSON.parse(document.getElementById("words")?.textContent ?? "{}");
const LANGUAGE = document.documentElement.lang || "en";
const PLURALS = new Intl.PluralRules(LANGUAGE);
const LISTS = new Intl.ListFormat(LANGUAGE, { type: "conjunction" });

/**
 * A text with its values put in. `count` among them chooses the plural form.
 * @param {string} id
 * @param {Record<string, string | number>} values
 * @returns {string} the id itself where the page does not know it: a missing text must not stop a reading
 */
export function say(id, values = {}) {
  const words = WORDS[id] ?? id;
  const pattern = typeof words === "string" ? words : (words[PLURALS.select(Number(values.count))] ?? words.other);
  return pattern.replace(/\{(\w+)\}/g, (whole, name) => `${values[name] ?? whole}`);
}

/** "2 readings and 1 adjustment". @param {string[]} parts */
export function listed(parts) {
  return LISTS.format(parts);
}
