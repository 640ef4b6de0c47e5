// @ts-check
/** The card itself: what was told, line by line, and the question now asked. */
import { h } from "./dom.js";
import { current, info, lastSaying, lines, percent } from "./state.js";
import { number, t } from "./text.js";

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
  // What waits to be sent can be changed and taken back too: the change goes out after it.
  const told = line.told, about = told ? told.info : info(s, line.id), open = s.editing === line.id && about;
  const gone = line.job && line.job.do === "retract", sending = line.unsaved && s.link === "open";
  const given = line.job && (line.job.request.observations || []).find((/** @type {any} */ x) => x.id === line.id);
  return [
    h("p", { class: "told" }, line.text, line.words && h("span", { class: "soft" }, " — " + t("line.from", { words: line.words }))),
    // The keys keep the place of the mark, so that nothing moves when an answer has been saved.
    h("p", { class: "line-keys" },
      line.unsaved && h("span", { class: "mark" }, t(s.link === "open" ? "line.saving" : "line.unsaved")),
      about && !gone && !sending && h("button", { type: "button", class: "small", "data-change": line.id, "aria-expanded": String(!!open), "aria-label": t(open ? "line.leave_this" : "line.change_this", { text: line.text }),
        onclick: () => act.edit(open ? "" : line.id) }, t(open ? "line.leave" : "line.change")),
      (told || line.job) && !gone && !sending && h("button", { type: "button", class: "small", "data-retract": line.id, "aria-label": t("line.back_this", { text: line.text }), onclick: () => act.retract(line.id, line.text) }, t("line.back"))),
    line.note && h("p", { class: "soft note" }, line.note),
    open && h("div", { class: "edit", key: "edit-" + line.id }, viewAsk(s, act, about, { told: given ? { observation: given } : told })),
  ];
}

/** @param {State} s @param {Act} act @param {string} kind */
export function viewQuestion(s, act, kind) {
  const c = s.conversation, now = current(s);
  switch (kind) {
    case "ask":
      return [
        viewAsk(s, act, /** @type {Info} */ (now.info), { reason: now.advised && c ? c.next_reason : "" }),
        !now.advised && h("p", null, h("button", { type: "button", class: "small", id: "back", onclick: () => act.ask("") }, t("ask.back"))),
      ];
    case "opening":
      return [
        heading("opening", t("ask.opening")),
        h("p", { class: "soft" }, t("ask.opening_how")),
        now.info && h("div", { class: "keys codes", role: "group", "aria-label": t("ask.codes") },
          (now.info.states || []).map((st) => answerKey(act, /** @type {Info} */ (now.info), st, ""))),
        now.info && evasions(act, now.info),
      ];
    case "repair": return viewRepair(s, act);
    case "start": case "well": return s.mend ? s.mend.viewStage(s, act, kind) : [heading("loading", t("ask.loading"))];
    case "waiting": case "done": case "owner": return [heading(kind, t("ask." + kind)), h("p", null, t(`ask.${kind}_how`))];
    case "loading": return [heading("loading", t("ask.loading"))];
    case "gone": return [heading("gone", t("ask.gone")), h("p", null, t("ask.gone_how"), " ", h("a", { href: document.documentElement.dataset.place === "framed" ? location.href : "/" }, t("ask.new")))];
    default: return [];
  }
}

/** @param {string} id @param {string} text */
export const heading = (id, text) => h("h2", { key: "heading-" + id, class: "ask", tabindex: "-1", "data-asks": id }, text);

/** The repair that is worth more now than any check. @param {State} s @param {Act} act */
function viewRepair(s, act) {
  const c = /** @type {any} */ (s.conversation), a = c.assessment, p = a.plan.steps.find((/** @type {any} */ x) => x.repair_id === c.next_repair_id), more = (a.next_checks || [])[0];
  return [
    heading("repair", p.title),
    h("p", { class: "soft" }, stepFacts(p)),
    h("p", null, c.next_reason),
    (p.cautions || []).length > 0 && viewCautions(p.cautions),
    (p.parts || []).length > 0 && h("p", null, h("strong", null, t("plan.parts")), " " + p.parts.join("; ")),
    p.proof && h("p", null, h("strong", null, t("plan.proof")), " " + p.proof),
    h("div", { class: "keys" }, h("button", { type: "button", class: "key go", "data-mend": p.repair_id, onclick: () => act.done(p) }, t("mend.done")),
      more && h("button", { type: "button", class: "key", id: "ask-more", onclick: () => act.ask(more.observation_id) }, t("mend.first"))),
  ];
}

/** What a step of the plan takes and brings. @param {any} p */
export const stepFacts = (p) => [t("plan.needed", { percent: percent(p.probability_fixed || 0) }), p.minutes && t("plan.minutes", { n: Math.round(p.minutes) }), p.cost ? t("plan.parts_cost", { n: Math.round(p.cost) }) : t("plan.no_parts"), p.together && t("plan.together"), p.probability_fixed_so_far && t("plan.so_far", { percent: percent(p.probability_fixed_so_far) })].filter(Boolean).join(" · ");

/** One question with its answers. @param {State} s @param {Act} act @param {Info} i @param {{told?: any, reason?: string}} how */
function viewAsk(s, act, i, { told, reason }) {
  const given = told ? told.observation : {};
  const hints = [i.needs_start && t("mind.start"), i.opens_fuel && t("mind.fuel"), i.opens_burner && t("mind.burner"),
    i.touches_hot && t("mind.hot"), ...(i.cautions || [])].filter(Boolean);
  const needs = [i.minutes && t("ask.minutes", { n: Math.round(i.minutes) }), i.tool && t("ask.needs", { tool: toolTitle(s, i.tool) })].filter(Boolean);
  return [
    heading(i.id, i.question || i.title),
    needs.length > 0 && h("p", { class: "soft" }, needs.join(" · ")),
    hints.length > 0 && viewCautions(hints),
    (i.states || []).length > 0
      ? h("div", { class: "keys", role: "group", "aria-label": t("ask.answers") }, (i.states || []).map((st) => answerKey(act, i, st, given.state)))
      : numberForm(s, act, i, given.number),
    evasions(act, i),
    (i.how || i.normal) && h("details", { class: "fold", key: "how-" + i.id, ontoggle: (/** @type {any} */ e) => e.target.open && act.draw() }, h("summary", null, t("ask.how")),
      s.drawings && s.drawings.viewDrawing(i.id),
      i.how && h("p", null, i.how), i.normal && h("p", null, h("strong", null, t("ask.normal")), " " + i.normal)),
    (i.why || reason) && h("details", { class: "fold", key: "why-" + i.id }, h("summary", null, t("ask.why")),
      i.why && h("p", null, i.why), reason && h("p", null, reason)),
  ];
}

/** @param {(string | false | undefined)[]} texts */
export const viewCautions = (texts) => h("ul", { class: "cautions", "data-mind": t("mind") }, texts.map((text) => h("li", null, text)));

/** @param {Act} act @param {Info} i @param {{id: string, title: string}} st @param {string} [given] */
const answerKey = (act, i, st, given) => h("button", { key: st.id, type: "button", class: "key", "data-state": st.id,
  "aria-pressed": given ? String(given === st.id) : null, onclick: () => act.answer(i, { state: st.id }, st.title) }, st.title || st.id);

/** @param {Act} act @param {Info} i */
const evasions = (act, i) => h("div", { class: "evasions" },
  h("button", { type: "button", class: "plain", "data-unknown": i.id, onclick: () => act.answer(i, { unknown: true }, t("line.cannot")) }, t("ask.cannot")),
  h("button", { type: "button", class: "plain", "data-skip": i.id, onclick: () => act.skip(i) }, t("ask.skip")));

/** @param {State} s @param {Act} act @param {Info} i @param {number} [given] */
function numberForm(s, act, i, given) {
  const bad = s.badReading && s.badReading.id === i.id ? s.badReading.text : "", name = "reading-" + i.id;
  const send = (/** @type {any} */ e) => { e.preventDefault(); act.reading(i, e.target.elements[0].value); };
  return h("form", { class: "reading", key: name, novalidate: true, onsubmit: send },
    h("label", { for: name }, t("reading")),
    h("span", { class: "field" },
      h("input", { id: name, type: "text", inputmode: "decimal", autocomplete: "off", value: given === undefined ? null : number(given),
        "aria-invalid": bad ? "true" : null, "aria-describedby": name + "-unit " + name + "-bad" }),
      h("span", { class: "unit", id: name + "-unit" }, i.unit || "")),
    h("button", { type: "submit", class: "go" }, t("enter")),
    h("p", { class: "bad", id: name + "-bad", role: "alert" }, bad));
}

/** @param {State} s @param {string} id */
export const toolTitle = (s, id) => ((s.catalogue && s.catalogue.tools.find((t) => t.id === id)) || { title: id.replaceAll("_", " ") }).title;

/** What was understood of the last text. @param {State} s @param {Act} act */
export function viewChips(s, act) {
  const last = lastSaying(s);
  if (!last) return [];
  return [
    h("p", { class: "soft", key: "t" }, t(last.understood > 0 ? "chips.read" : "chips.nothing", { text: last.text })),
    last.readings.length > 0 && h("ul", { class: "chips", key: "c" }, last.readings.map((r) => h("li", { key: r.observation.id, class: "chip", "data-chip": r.observation.id },
      h("span", null, h("span", { class: "soft" }, t("quoted", { text: r.words }) + " → "), r.text),
      h("button", { type: "button", class: "off", "aria-label": t("chips.off", { text: r.text }), onclick: () => act.retract(r.observation.id, r.text) }, "×")))),
    last.understood > 0 && last.unclear.length > 0 && h("p", { class: "soft", key: "u" }, t("chips.unclear", { parts: last.unclear.map((u) => t("quoted", { text: u })).join(", ") })),
  ].filter(Boolean);
}
