// @ts-check
/** What was asked and told, as a thread: each answer to be changed by a tap, and under it what it changed. */
import { h } from "./dom.js";
import { info, lines, percent } from "./state.js";
import { t } from "./text.js";

/**
 * @typedef {import("./state.js").State} State
 * @typedef {import("./question.js").Act} Act
 * @typedef {import("./state.js").Line} Line
 */

/** @param {State} s @param {Act} act */
export function viewThread(s, act) {
  const c = s.conversation,
    sayings = (c && c.sayings) || [],
    all = lines(s),
    turns = /** @type {{at: number, view: any}[]} */ ([]);
  const read = new Set();
  for (const saying of sayings) {
    const from = all.filter((l) => l.told && l.told.words && !l.unsaved && l.told.event === saying.event);
    for (const l of from) read.add(l.id);
    turns.push({ at: Number(saying.event), view: viewSaying(s, act, saying, from) });
  }
  for (const l of all) {
    if (read.has(l.id)) continue;
    const here = !l.unsaved || (l.job && l.job.key in s.joined);
    const at = l.told && here ? Number(l.told.event) : l.parts ? 0 : Infinity;
    turns.push({ at, view: viewTurn(s, act, l) });
  }
  return turns.sort((a, b) => (a.at === b.at ? 0 : a.at - b.at)).map((turn) => turn.view);
}

/**
 * A sentence, and what was understood of it.
 * @param {State} s
 * @param {Act} act
 * @param {any} saying
 * @param {Line[]} from
 */
function viewSaying(s, act, saying, from) {
  const unclear = saying.unclear || [];
  return h(
    "li",
    { key: "said" + saying.event, class: "turn", "data-said": saying.event },
    h(
      "p",
      { class: "me" },
      h("span", null, saying.text),
      s.here &&
        Object.values(s.joined).some((l) => JSON.parse(l.event).number === Number(saying.event)) &&
        h("span", { class: "mark" }, t("line.kept")),
    ),
    h(
      "p",
      { class: "it" },
      t(
        from.length > 0
          ? "chips.read"
          : (saying.readings || []).length + (saying.suggestions || []).length > 0
            ? "chips.asked"
            : "chips.nothing",
      ),
    ),
    from.length > 0 &&
      h(
        "ul",
        { class: "chips" },
        from.map((l) =>
          h(
            "li",
            { key: l.id, class: "chip", "data-chip": l.id, "data-line": l.id },
            h(
              "button",
              {
                type: "button",
                "data-change": l.id,
                "aria-label": t("line.change_this", { text: l.text }),
                onclick: () => act.edit(l.id),
              },
              l.text,
            ),
            h(
              "button",
              {
                type: "button",
                class: "off",
                "aria-label": t("chips.off", { text: l.text }),
                onclick: () => act.retract(l.id, l.text),
              },
              "×",
            ),
            l.note && h("span", { class: "note" }, l.note),
          ),
        ),
      ),
    from.length > 0 &&
      unclear.length > 0 &&
      h(
        "p",
        { class: "it small" },
        t("chips.unclear", { parts: unclear.map((/** @type {string} */ u) => t("quoted", { text: u })).join(", ") }),
      ),
    viewShift(s, Number(saying.event)),
  );
}

/** @param {State} s @param {Act} act @param {Line} l */
function viewTurn(s, act, l) {
  if (l.parts)
    return h(
      "li",
      { key: l.id, class: "turn", "data-line": l.id },
      h(
        "details",
        { class: "fold" },
        h("summary", { class: "me" }, l.text, pen()),
        h(
          "ul",
          { class: "chips" },
          l.parts.map((p) => h("li", { key: p.id, class: "chip", "data-line": p.id }, answer(s, act, p, p.text))),
        ),
      ),
    );
  const i = l.told ? l.told.info : info(s, l.id),
    title = i && i.title ? i.title + ": " : "";
  const words = title && l.text.startsWith(title) ? l.text.slice(title.length) : l.text,
    question = i && words !== l.text ? i.question || i.title : "";
  return h(
    "li",
    { key: l.id, class: l.unsaved ? "turn unsaved" : "turn", "data-line": l.id },
    question && h("p", { class: "it" }, question),
    answer(s, act, l, words, title),
    l.note && !(l.told && (l.told.skipped || l.told.observation.unknown)) && h("p", { class: "it note" }, l.note),
    l.told && !l.unsaved && viewShift(s, Number(l.told.event)),
  );
}

/**
 * An answer as a bubble that changes it.
 * @param {State} s
 * @param {Act} act
 * @param {Line} l
 * @param {string} words
 * @param {string} [title]
 */
function answer(s, act, l, words, title) {
  const about = l.told ? l.told.info : info(s, l.id),
    gone = l.job && l.job.do === "retract",
    sending = l.unsaved && s.link === "open";
  const mark =
    l.unsaved &&
    h("span", { class: "mark" }, t(s.link === "open" ? "line.saving" : s.here ? "line.kept" : "line.unsaved"));
  // Where there is little height the bubble says itself what it answers.
  const full = [title && title.length < 28 && words !== l.text && h("span", { class: "asked" }, title), words];
  if (!about || gone || sending) return h("p", { class: "me" }, h("span", null, full), mark);
  return h(
    "button",
    {
      type: "button",
      class: "me",
      "data-change": l.id,
      "aria-label": t("line.change_this", { text: l.text }),
      onclick: () => act.edit(l.id),
    },
    h("span", null, full),
    mark,
    pen(),
  );
}

const pen = () => h("svg", { class: "pen", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#pen" }));

/** What an answer changed. @param {State} s @param {number} event */
function viewShift(s, event) {
  const x = s.shifts[event];
  if (!x) return null;
  const up = x.to >= x.from;
  return h(
    "p",
    { class: "shift", key: "shift" },
    h(
      "svg",
      { class: up ? "up" : "down", "aria-hidden": "true", focusable: "false" },
      h("use", { href: up ? "#up" : "#down" }),
    ),
    h(
      "span",
      null,
      h("strong", null, x.title),
      " " + t(up ? "shift.up" : "shift.down", { from: Math.round(x.from * 100), to: percent(x.to) }),
    ),
  );
}
