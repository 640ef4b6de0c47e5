// @ts-check
/** The instrument: the picture of the heater, the likeliest cause in one sentence, and the first thing to do. */
import { h } from "./dom.js";
import { levels, odds, pips } from "./odds.js";
import { current, percent } from "./state.js";
import { dangers } from "./told.js";
import { number, t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** Where the pointer to the sentence stands below a part and, where nothing lies between, from where its line falls. */
const BELOW = /** @type {Record<string, number[]>} */ ({ battery: [32], supply: [60], fuse: [77], panel: [116], board: [195], fan: [171], glow: [214],
    sensor: [254],
  burner: [239], tank: [41], line: [169, 98], pump: [118, 122], intake: [222, 122], exhaust: [300, 123],
      duct: [320, 78] });

/** Whether enough is told for a verdict that is worth reading. @param {State} s */
export function judged(s) {
  const c = s.conversation, a = c && c.assessment;
  return !!a && (a.causes || []).length > 0 && (c.told || []).some((x) => !x.skipped && x.info && !x.info.safetyCard);
}

/** @param {State} s */
const causesOf = (s) => (judged(s) ? /** @type {any} */ (s.conversation).assessment.causes : []);

/**
 * The part that a question is about: where the cause sits that it tells most about.
 * @param {State} s
 * @param {string} id
 */
function askedPart(s, id) {
  const a = (s.conversation && s.conversation.assessment) || {}, check = (a.nextChecks ||
      []).find((/** @type {any} */ x) => x.observationId === id);
  const about = check && (check.aboutCauseIds || [])[0], cause = (a.causes || []).find((/** @type {any} */ x) =>
      x.id === about);
  return cause ? cause.part : "";
}

/** The words for a level. @param {number} n */
const suspected = (n) => t("level." + n);

/**
 * Brings the picture up to date. It stands in the document, so that it is there at once.
 * @param {State} s
 * @param {Act} act
 */
export function showPicture(s, act) {
  const picture = /** @type {any} */ (document.getElementById("picture")), now = current(s), c = s.conversation;
  const trying = ["start", "well"].includes(now.kind), causes = trying ? [] : causesOf(s), all = levels(causes);
  const asked = now.info && !s.view ? askedPart(s, now.info.id) : "";
  const mended = new Set(((c && c.recovery && c.recovery.repairs) || []).flatMap((/** @type {any} */ r) =>
      r.causeIds || []));
  const done = new Set(((c && c.assessment && c.assessment.causes) || []).filter((/** @type {any} */ x) =>
      mended.has(x.id)).map((/** @type {any} */ x) => x.part));
  for (const g of picture.querySelectorAll("[data-place]")) {
    const part = g.dataset.place, n = all.get(part) || 0,
        label = `${t("part." + part)}: ${done.has(part) && trying ? t("level.mended") : suspected(n)}`;
    set(g, "data-level", String(n));
    set(g, "data-asked", part === asked ? "" : null);
    set(g, "data-chosen", s.view === "part:" + part ? "" : null);
    set(g, "data-mended", done.has(part) && trying ? "" : null);
    set(g, "role", "button");
    set(g, "tabindex", n > 0 ? "0" : "-1");
    set(g, "aria-label", part === asked ? `${label}. ${t("level.asked")}` : label);
    g.onclick = () => act.view("part:" + part);
    g.onkeydown = (/** @type {any} */ e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault();
        act.view("part:" + part); } };
  }
  const told = new Map(((c && c.told) || []).map((x) => [x.observation.id, x.observation]));
  const code = (told.get("fault_code") || {}).state || "";
  /** @type {any} */ (document.getElementById("shown")).textContent = /^E-\d/.test(code) ? code : "– –";
  const bubbles = (told.get("bubbles") || {}).state;
  set(picture, "data-bubbles", bubbles === "few" || bubbles === "many" ? bubbles : null);
  const [x, from] = (causes[0] && BELOW[causes[0].part]) || [0, 0];
  set(document.getElementById("ptr"), "d", x ? `M${x - 4.5} 132l4.5-7 4.5 7z` : "");
  set(document.getElementById("lead"), "d", x && from ? `M${x} ${from}V126` : "");
}

/** @param {any} node @param {string} name @param {string | null} value */
function set(node, name, value) {
  if (node.getAttribute(name) === value) return;
  value === null ? node.removeAttribute(name) : node.setAttribute(name, value);
}

/** What the picture points at. @param {State} s @param {Act} act */
export function viewFace(s, act) {
  const now = current(s), c = s.conversation;
  if (s.mend && c && c.recovery && ["start", "well"].includes(now.kind)) return s.mend.viewFace(s, act, now.kind);
  if (!judged(s)) return [viewAbout()];
  const lead = causesOf(s)[0], p = lead.probability || 0;
  return [
    h("button", { key: "verdict", type: "button", class: "read", id: "verdict", "data-part": "verdict",
        "aria-expanded": String(s.view === "may"),
      onclick: () => act.view(s.view === "may" ? "" : "may") },
      h("span", { class: "cap" }, t("verdict")),
      h("strong", null, lead.sentence || lead.title),
      h("span", { class: "odds" }, pips(p), h("b", null, odds(p)), h("span", { class: "unseen" }, percent(p)))),
    viewDeed(s, act),
  ];
}

/** What this is, while nothing is told. */
const viewAbout = () => h("div", { class: "read", key: "about" },
  h("h2", null, t("heading")),
  h("ol", { class: "about" }, [1, 2, 3].map((n) => h("li", { key: "about" + n }, t("about." + n)))),
  h("p", { class: "about-on" }, t("about.on")));

/**
 * The first thing to do: the first repair that no danger forbids, with the check that it may wait for.
 * @param {State} s
 * @param {Act} act
 */
function viewDeed(s, act) {
  const a = /** @type {any} */ (s.conversation).assessment, steps = (a.plan && a.plan.steps) || [];
  const stands = dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION"), first = stands ?
      steps.find((/** @type {any} */ p) => !p.heldBack) : steps[0];
  const none = steps.length ? t("deed.wait") : a.plan && a.plan.ending ? a.plan.ending.text : t("deed.none");
  const small = first ? [takes(first), current(s).kind === "ask" && a.plan.nextCheckId &&
      t("deed.question")].filter(Boolean).join(" ") : "";
  const to = first ? "repair:" + first.repairId : "todo";
  return h("button", { key: "deed", type: "button", class: "first", id: "deed", "data-part": "deed",
      "data-first": first ? first.repairId : null,
    "aria-expanded": String(s.view === to), onclick: () => act.view(s.view === to ? "" : to) },
    h("b", { class: "tag" }, t(stands ? "deed.first" : "deed")),
    h("span", { class: "what" }, first ? first.title : none, first && first.heldBack ? h("small", { class: "held" },
        first.heldBack) : small && h("small", null, small)), on());
}

/** What a repair takes of time and money. @param {any} p */
export const takes = (p) =>
    `${minutes(p.minutes || 0)}, ${p.partsEuros ? t("takes.cost", { n: Math.round(p.partsEuros) }) : t("takes.nothing")}.`;

/** A time as people say it. @param {number} n minutes */
export function minutes(n) {
  if (n < 1) return t("takes.half");
  if (n < 75) return t(Math.round(n) === 1 ? "takes.minute" : "takes.minutes", { n: Math.round(n) });
  const halves = Math.round(n / 30), whole = Math.floor(halves / 2);
  return t("takes.hours", { n: (whole ? number(whole) : "") + (halves % 2 ? "½" : "") });
}

export const on = () => h("svg", { class: "go-on", "aria-hidden": "true", focusable: "false" },
    h("use", { href: "#on" }));
