// @ts-check
/**
 * Words of the trade, explained by a tap in one sentence where a question uses them first. Comes with the first
 * question about
 * the heater.
 */
import { h } from "./dom.js";
import { lang, t } from "./text.js";

/** The terms that are explained: their text holds the words, and after a bar the sentence. */
const TERMS = [
  "glow_plug",
  "priming",
  "combustion_air",
  "co_alarm",
  "casing",
  "fuse",
  "soft_hose",
  "exchanger",
  "screen",
  "resistance",
];

/** In which question each was used first, by language. @type {Map<string, string>} */ const first = new Map();

/** The words, and the sentence that explains them. @param {string} term */
const parts = (term) => t("term." + term).split("|");

/**
 * A question with the terms in it as keys, and what each tells. A term that an earlier question has explained is
 * plain text.
 * @param {string} id of the question @param {string} text
 * @returns {{text: any[], notes: any[]}}
 */
export function marked(id, text) {
  const found = TERMS.map((term) => ({ term, at: text.toLowerCase().indexOf(parts(term)[0].toLowerCase()) }))
    .filter((x) => x.at >= 0 && (first.get(lang + x.term) || id) === id)
    .sort((a, b) => a.at - b.at);
  const out = /** @type {any[]} */ ([]),
    notes = /** @type {any[]} */ ([]);
  let from = 0;
  for (const { term, at } of found) {
    const [words, says] = parts(term);
    if (at < from) continue;
    first.set(lang + term, id);
    out.push(
      text.slice(from, at),
      h(
        "button",
        { type: "button", key: term, class: "term", "data-term": term, popovertarget: "term-" + term },
        text.slice(at, at + words.length),
      ),
    );
    notes.push(
      h(
        "div",
        { key: "term-" + term, id: "term-" + term, popover: "auto", class: "explained" },
        h("strong", null, text.slice(at, at + words.length)),
        " ",
        says,
      ),
    );
    from = at + words.length;
  }
  return { text: [...out, text.slice(from)], notes };
}
