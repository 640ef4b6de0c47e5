// @ts-check
/** The margin: what is suspected and why, what contradicts, what to do, what else to check, tools at hand. */
import { h } from "./dom.js";
import { stepFacts, toolTitle, viewCautions } from "./card.js";
import { viewShare } from "./share.js";
import { current, eventOf, percent, readNumber, strength } from "./state.js";
import { dangers } from "./told.js";
import { number, t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./card.js").Act} Act */

const LEADING = 5, ALTERNATIVES = 6;

/** @param {State} s @param {Act} act */
export function viewMargin(s, act) {
  const a = (s.conversation && s.conversation.assessment) || {}, trying = ["start", "well"].includes(current(s).kind);
  return [
    // The ranking is for a heater that does not run as it should; while one is tried, or is well, it would mislead.
    !trying && section("suspected", t("suspected"), viewCauses(s, act, a.causes || [])),
    !trying && (a.chains || []).length > 0 && section("chains", t("chains"), a.chains.map(viewChain)),
    !trying && (a.contradictions || []).length > 0 && section("odd", t("odd"),
      h("ul", null, a.contradictions.map((/** @type {any} */ x) => h("li", null, x.text)))),
    a.plan && !trying && section("plan", t("plan"), viewPlan(s, act, a.plan)),
    !trying && viewOthers(s, act, a.next_checks || []),
    viewTools(s, act),
    s.conversation && viewShare(s, act),
  ].filter(Boolean);
}

/** @param {string} key @param {string} title @param {any} body */
const section = (key, title, body) => h("section", { key, id: key, "aria-labelledby": key + "-title" }, h("h2", { id: key + "-title" }, title), body);

/** @param {State} s @param {Act} act @param {any[]} causes */
function viewCauses(s, act, causes) {
  if (causes.length === 0) return h("p", { class: "soft" }, t("suspected.none"));
  const shown = s.allCauses ? causes : causes.slice(0, LEADING);
  return [
    h("ol", { class: "causes" }, shown.map((c) => h("li", { key: c.id, "data-cause": c.id },
      h("details", { ontoggle: (/** @type {any} */ e) => e.target.open && act.explain(c.id) },
        h("summary", null, h("span", { class: "cause" }, c.title),
          h("span", { class: "number" }, percent(c.probability || 0)),
          h("span", { class: "bar", "aria-hidden": "true" }, h("span", { class: "fill", "--part": String(c.probability || 0) })),
          h("span", { class: "word" }, c.likelihood)),
        viewReasons(s, c))))),
    causes.length > LEADING && h("button", { type: "button", class: "small", id: "all-causes", "aria-expanded": String(s.allCauses), onclick: () => act.allCauses() },
      s.allCauses ? t("suspected.fewer", { n: LEADING }) : t("suspected.all", { n: causes.length })),
  ];
}

/** A root, what it leads to, and the cause at the end, as a ladder to be read downwards. @param {any} c @param {number} i */
function viewChain(c, i) {
  return h("div", { class: "chain", key: "chain" + i },
    h("ol", null, c.links.map((/** @type {any} */ l, /** @type {number} */ k) => h("li", { key: String(k), class: l.id ? "cause" : "soft" }, l.title))),
    h("p", null, c.advice));
}

/** @param {State} s @param {any} cause */
function viewReasons(s, cause) {
  const known = s.explained[cause.id], fresh = known && known.event === eventOf(s.conversation) ? known : null;
  const weights = (fresh && fresh.cause && fresh.cause.weights) || cause.weights || [];
  const changes = (fresh && fresh.would_change) || [];
  return h("div", { class: "reasons" },
    known && known.explanation && h("p", null, known.explanation),
    weights.length > 0 ? h("ul", { class: "weights" }, weights.map((/** @type {any} */ w) => h("li", { key: w.observation_id, class: (w.bits || 0) > 0 ? "for" : "against" },
      w.text, h("span", { class: "soft" }, ` — ${strength(w.bits || 0)} (${t("bits.number", { n: number(w.bits || 0, 1) })})`))))
      : h("p", { class: "soft" }, t("reasons.none")),
    changes.length > 0 && h("p", { class: "sub" }, t("reasons.change")),
    changes.length > 0 && h("ul", null, changes.map((/** @type {any} */ w) => h("li", { key: w.observation_id + w.state }, w.text, h("span", { class: "soft" }, " — " + t("reasons.then", { percent: percent(w.probability_after || 0) }))))),
    !fresh && h("p", { class: "soft later" }, t(s.link === "open" ? "reasons.fetching" : "reasons.later")));
}

/** @param {State} s @param {Act} act @param {any} plan */
function viewPlan(s, act, plan) {
  const stands = dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION"), steps = plan.steps || [], first = steps.find((/** @type {any} */ p) => !p.held_back);
  return [
    plan.note && h("p", null, plan.note),
    h("ol", { class: "plan" }, steps.map((/** @type {any} */ p) => h("li", { key: p.repair_id, "data-repair": p.repair_id },
      h("p", { class: "told" }, p.title),
      h("p", { class: "soft" }, stepFacts(p)),
      p.held_back && h("p", { class: "wait" }, h("strong", null, t("plan.wait")), " " + p.held_back),
      // What may be done now lies open; what must wait is folded.
      h("details", { class: "fold", key: p === first ? "now" : "later", open: p === first }, h("summary", null, t("plan.more")),
        (p.cautions || []).length > 0 && viewCautions(p.cautions),
        (p.parts || []).length > 0 && h("p", null, h("strong", null, t("plan.parts")), " " + p.parts.join("; ")),
        p.proof && h("p", null, h("strong", null, t("plan.proof")), " " + p.proof),
        p.prevention && h("p", null, h("strong", null, t("plan.prevention")), " " + p.prevention)),
      // What a danger forbids is not to be done, so nothing here asks whether it was.
      (!p.held_back || !stands) && h("p", { class: "line-keys" }, h("button", { type: "button", class: "small", "data-done": p.repair_id, "aria-label": t("mend.done_this", { title: p.title }),
        onclick: () => act.done(p) }, t("mend.done")))))),
    plan.ending && h("p", { class: "ending" }, h("strong", null, t("plan.ending", { n: plan.ending.after_steps || 0 })), " " + plan.ending.text),
  ];
}

/** @param {State} s @param {Act} act @param {any[]} checks */
function viewOthers(s, act, checks) {
  const now = current(s), asked = now.info && now.info.id;
  const others = checks.filter((c) => c.observation_id !== asked).slice(0, ALTERNATIVES);
  if (others.length === 0 || now.kind === "safety") return null;
  const causes = (s.conversation && s.conversation.assessment && s.conversation.assessment.causes) || [];
  const about = (/** @type {any} */ c) => (c.about_cause_ids || []).map((/** @type {string} */ id) => (causes.find((/** @type {any} */ x) => x.id === id) || {}).title).filter(Boolean).join(", ");
  return section("others", t("others"), h("ul", { class: "others" }, others.map((c) => h("li", { key: c.observation_id },
    h("button", { type: "button", class: "other", "data-ask": c.observation_id, onclick: () => act.ask(c.observation_id) },
      h("span", null, c.question),
      h("span", { class: "soft" }, [t("ask.minutes", { n: Math.max(1, Math.round(c.minutes || 0)) }), c.tool && t("ask.needs", { tool: toolTitle(s, c.tool) }), about(c) && t("others.about", { causes: about(c) })].filter(Boolean).join(" · ")))))));
}

/** @param {State} s @param {Act} act */
function viewTools(s, act) {
  const waiting = s.queue.filter((j) => j.do === "set_tools").pop();
  const held = waiting ? waiting.request.tools : (s.conversation && s.conversation.tools) || [];
  const tools = s.catalogue ? s.catalogue.tools : [];
  return h("details", { class: "fold", key: "tools", id: "tools", ontoggle: (/** @type {any} */ e) => e.target.open && act.catalogue() },
    h("summary", null, held.length ? t("tools", { tools: held.map((/** @type {string} */ id) => toolTitle(s, id)).join(", ") }) : t("tools.none")),
    h("p", { class: "soft" }, t("tools.why")),
    tools.length === 0 && h("p", { class: "soft" }, t("tools.fetching")),
    h("div", { class: "keys" }, tools.map((x) => h("button", { key: x.id, type: "button", class: "key tool", "data-tool": x.id, "aria-pressed": String(held.includes(x.id)),
      onclick: () => act.tool(x.id, held) }, x.title))),
    viewEffort(s, act, held));
}

/** How far the owner goes, and what an hour is worth: the plan weighs minutes against money by it. @param {State} s @param {Act} act @param {string[]} held */
function viewEffort(s, act, held) {
  const c = s.conversation, hour = c && c.euros_per_minute ? c.euros_per_minute * 60 : 60, bad = s.badReading && s.badReading.id === "hour" ? s.badReading.text : "";
  const set = (/** @type {Record<string, any>} */ what) => act.queue("set_tools", { tools: held, ...what }, t("tools.label"), []);
  return [
    h("p", { class: "sub", id: "willing-title" }, t("effort.willing")),
    h("div", { class: "keys", role: "group", "aria-labelledby": "willing-title" }, ["SIMPLE", "HANDY", "WORKSHOP"].map((v) => h("button", { key: v, type: "button", class: "key", "data-willing": v,
      "aria-pressed": String(((c && c.willingness) || "WILLINGNESS_WORKSHOP") === "WILLINGNESS_" + v), onclick: () => set({ willingness: "WILLINGNESS_" + v }) }, t("effort." + v)))),
    h("form", { class: "reading", novalidate: true, onsubmit: (/** @type {any} */ e) => {
      e.preventDefault();
      const read = readNumber(e.target.elements[0].value, { id: "hour", title: "", unit: "€", minimum: 0, maximum: 1000 });
      if (read.number === undefined) act.unread("hour", read.problem); else set({ euros_per_minute: Math.max(read.number, 0.01) / 60 });
    } }, h("label", { for: "hour" }, t("effort.hour")),
      h("span", { class: "field" }, h("input", { id: "hour", type: "text", inputmode: "decimal", autocomplete: "off", value: number(hour), "aria-invalid": bad ? "true" : null, "aria-describedby": "hour-bad" }), h("span", { class: "unit" }, "€")),
      h("button", { type: "submit", class: "key" }, t("enter")), h("p", { class: "bad", id: "hour-bad", role: "alert" }, bad)),
  ];
}
