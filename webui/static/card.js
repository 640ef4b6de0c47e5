// @ts-check
/** The card itself: what was told, line by line, and the question now asked. */
import { h } from "./dom.js";
import { current, lastSaying, lines } from "./state.js";

/** @typedef {import("./state.js").State} State @typedef {import("./state.js").Info} Info @typedef {Record<string, (...a: any[]) => void>} Act */

/** @param {State} s @param {Act} act */
export function viewLines(s, act) {
  return lines(s).map((line) => h("li", { key: line.id, class: line.unsaved ? "line unsaved" : "line", "data-line": line.id },
    line.parts
      ? h("details", { class: "fold" }, h("summary", null, line.text),
          h("ul", { class: "parts" }, line.parts.map((p) => h("li", { key: p.id, "data-line": p.id }, viewLine(s, act, p)))))
      : viewLine(s, act, line)));
}

/** @param {State} s @param {Act} act @param {any} line */
function viewLine(s, act, line) {
  const told = line.told, open = s.editing === line.id && told && told.info;
  return [
    h("p", { class: "told" }, line.text, line.words && h("span", { class: "soft" }, " — from “" + line.words + "”")),
    line.unsaved && h("p", { class: "mark" }, s.link === "open" ? "saving …" : "not saved yet"),
    line.note && h("p", { class: "soft note" }, line.note),
    told && h("p", { class: "line-keys" },
      told.info && h("button", { type: "button", class: "small", "data-change": line.id, "aria-expanded": String(!!open), "aria-label": (open ? "Leave as it is: " : "Change: ") + line.text,
        onclick: () => act.edit(open ? "" : line.id) }, open ? "leave as it is" : "change"),
      h("button", { type: "button", class: "small", "data-retract": line.id, "aria-label": "Take back: " + line.text, onclick: () => act.retract(line.id, line.text) }, "take back")),
    open && h("div", { class: "edit", key: "edit-" + line.id }, viewAsk(s, act, told.info, { told })),
  ];
}

/** @param {State} s @param {Act} act @param {string} kind */
export function viewQuestion(s, act, kind) {
  const c = s.conversation, now = current(s);
  switch (kind) {
    case "ask":
      return [
        viewAsk(s, act, /** @type {Info} */ (now.info), { reason: now.advised && c ? c.next_reason : "" }),
        !now.advised && h("p", null, h("button", { type: "button", class: "small", id: "back", onclick: () => act.ask("") }, "Back to the advised question")),
      ];
    case "opening":
      return [
        heading("opening", "What does the heater show or do?"),
        h("p", { class: "soft" }, "Type it in the line below in your own words, or tap the code on its display."),
        now.info && h("div", { class: "keys codes", role: "group", "aria-label": "Code on the display" },
          (now.info.states || []).map((st) => answerKey(act, /** @type {Info} */ (now.info), st, ""))),
        now.info && evasions(act, now.info),
      ];
    case "waiting":
      return [heading("waiting", "Waiting for the connection"), h("p", null, "What you told is kept in this window and goes out by itself. The next question comes then. You can go on typing below.")];
    case "loading":
      return [heading("loading", "Fetching your card …")];
    case "gone":
      return [heading("gone", "There is no card at this address"), h("p", null, "It may have been deleted, or the address is not complete. ", h("a", { href: "/" }, "Begin a new card"))];
    case "done":
      return [heading("done", "No further question is worth its while"), h("p", null, "What to do stands under “What to do”. Anything you notice later can be typed below or changed above.")];
    default: return [];
  }
}

/** @param {string} id @param {string} text */
const heading = (id, text) => h("h2", { key: "heading-" + id, class: "ask", tabindex: "-1", "data-asks": id }, text);

/** One question with its answers. @param {State} s @param {Act} act @param {Info} i @param {{told?: any, reason?: string}} how */
function viewAsk(s, act, i, { told, reason }) {
  const given = told ? told.observation : {};
  const hints = [i.needs_start && "This starts the heater.", i.opens_fuel && "This opens the fuel line.",
    i.opens_burner && "This opens the burner or exhaust.", i.touches_hot && "Hot parts are near.", ...(i.cautions || [])].filter(Boolean);
  const needs = [i.minutes && "about " + Math.round(i.minutes) + " min", i.tool && "needs " + toolTitle(s, i.tool)].filter(Boolean);
  return [
    heading(i.id, i.question || i.title),
    needs.length > 0 && h("p", { class: "soft" }, needs.join(" · ")),
    hints.length > 0 && h("ul", { class: "cautions" }, hints.map((t) => h("li", null, t))),
    (i.states || []).length > 0
      ? h("div", { class: "keys", role: "group", "aria-label": "Answers" }, (i.states || []).map((st) => answerKey(act, i, st, given.state)))
      : numberForm(s, act, i, given.number),
    evasions(act, i),
    (i.how || i.normal) && h("details", { class: "fold", key: "how-" + i.id }, h("summary", null, "How to do it"),
      i.how && h("p", null, i.how), i.normal && h("p", null, h("strong", null, "On a healthy heater: "), i.normal)),
    (i.why || reason) && h("details", { class: "fold", key: "why-" + i.id }, h("summary", null, "Why is this asked?"),
      i.why && h("p", null, i.why), reason && h("p", null, reason)),
  ];
}

/** @param {Act} act @param {Info} i @param {{id: string, title: string}} st @param {string} [given] */
const answerKey = (act, i, st, given) => h("button", { key: st.id, type: "button", class: "key", "data-state": st.id,
  "aria-pressed": given ? String(given === st.id) : null, onclick: () => act.answer(i, { state: st.id }, st.title) }, st.title || st.id);

/** @param {Act} act @param {Info} i */
const evasions = (act, i) => h("div", { class: "evasions" },
  h("button", { type: "button", class: "plain", "data-unknown": i.id, onclick: () => act.answer(i, { unknown: true }, "can’t tell") }, "Can’t tell"),
  h("button", { type: "button", class: "plain", "data-skip": i.id, onclick: () => act.skip(i) }, "Skip"));

/** @param {State} s @param {Act} act @param {Info} i @param {number} [given] */
function numberForm(s, act, i, given) {
  const bad = s.badReading && s.badReading.id === i.id ? s.badReading.text : "", name = "reading-" + i.id;
  const send = (/** @type {any} */ e) => { e.preventDefault(); act.reading(i, e.target.elements[0].value); };
  return h("form", { class: "reading", key: name, novalidate: true, onsubmit: send },
    h("label", { for: name }, "Reading"),
    h("span", { class: "field" },
      h("input", { id: name, type: "text", inputmode: "decimal", autocomplete: "off", value: given === undefined ? null : given,
        "aria-invalid": bad ? "true" : null, "aria-describedby": name + "-unit " + name + "-bad" }),
      h("span", { class: "unit", id: name + "-unit" }, i.unit || "")),
    h("button", { type: "submit", class: "go" }, "Enter"),
    h("p", { class: "bad", id: name + "-bad", role: "alert" }, bad));
}

/** @param {State} s @param {string} id */
export const toolTitle = (s, id) => ((s.catalogue && s.catalogue.tools.find((t) => t.id === id)) || { title: id.replaceAll("_", " ") }).title;

/** What was understood of the last text. @param {State} s @param {Act} act */
export function viewChips(s, act) {
  const last = lastSaying(s);
  if (!last) return [];
  return [
    last.understood > 0 && h("p", { class: "soft", key: "t" }, "Understood from “" + last.text + "”:"),
    last.understood === 0 && h("p", { class: "soft", key: "n" }, "Nothing in “" + last.text + "” was understood as a code, a reading or a sign. Other words may do, or the keys above."),
    last.readings.length > 0 && h("ul", { class: "chips", key: "c" }, last.readings.map((r) => h("li", { key: r.observation.id, class: "chip", "data-chip": r.observation.id },
      h("span", null, h("span", { class: "soft" }, "“" + r.words + "” → "), r.text),
      h("button", { type: "button", class: "off", "aria-label": "Not meant: " + r.text, onclick: () => act.retract(r.observation.id, r.text) }, "×")))),
    last.understood > 0 && last.unclear.length > 0 && h("p", { class: "soft", key: "u" }, "Not understood: " + last.unclear.map((u) => "“" + u + "”").join(", ")),
  ].filter(Boolean);
}
