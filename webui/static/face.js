// @ts-check
/** The instrument: the picture of the heater, the likeliest cause in one sentence, and the first thing to do. */
import { h, patch } from "./dom.js";
import { levels, odds, pips } from "./odds.js";
import { current, percent } from "./state.js";
import { dangers } from "./told.js";
import { number, t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** Where the pointer to the sentence stands below a part and, where nothing lies between, from where its line falls. */
const BELOW = /** @type {Record<string, number[]>} */ ({
  battery: [32],
  supply: [60],
  fuse: [77],
  panel: [116],
  board: [195],
  fan: [171],
  glow: [214],
  sensor: [254],
  burner: [239],
  tank: [41],
  line: [169, 98],
  pump: [118, 122],
  intake: [222, 122],
  exhaust: [300, 123],
  duct: [320, 78],
});

/** Where the middle of each part is. @type {Record<string, number[]>} */
const MIDDLE = {
  battery: [32, 69],
  supply: [110, 43],
  fuse: [77, 40],
  panel: [116, 17],
  board: [195, 57],
  fan: [171, 57],
  glow: [213, 29],
  sensor: [254, 30],
  burner: [239, 57],
  tank: [41, 113],
  line: [172, 94],
  pump: [118, 108],
  intake: [232, 104],
  exhaust: [300, 113],
  duct: [317, 57],
};

/** Whether enough is told for a verdict that is worth reading. @param {State} s */
export function judged(s) {
  const c = s.conversation,
    a = c && c.assessment;
  return !!a && (a.causes || []).length > 0 && (c.told || []).some((x) => !x.skipped && x.info && !x.info.safetyCard);
}

/** @param {State} s */
const causesOf = (s) => (judged(s) ? /** @type {any} */ (s.conversation).assessment.causes : []);

/** The causes that lead: one, or two where it is probably more than one thing. @param {State} s @returns {any[]} */
export function leading(s) {
  const causes = causesOf(s),
    pair = causes.length > 0 && /** @type {any} */ (s.conversation).assessment.likelyPair;
  const both =
    pair && pair.several >= 0.5
      ? pair.causeIds.map((/** @type {string} */ id) => causes.find((/** @type {any} */ x) => x.id === id))
      : [];
  return both.length === 2 && both[0] && both[1] ? both : causes.slice(0, 1);
}

/** The parts at which a danger sits: where that is what it asks to be mended. @param {State} s @returns
 * {Set<string>} */
function barred(s) {
  const a = (s.conversation && s.conversation.assessment) || {},
    stands = new Set(dangers(s).map((d) => d.id));
  const causes = ((a.plan && a.plan.steps) || [])
    .filter((/** @type {any} */ p) => stands.has(p.dangerId))
    .map((/** @type {any} */ p) => p.causeId);
  return new Set(
    (a.causes || [])
      .filter((/** @type {any} */ x) => causes.includes(x.id) && x.part in MIDDLE)
      .map((/** @type {any} */ x) => x.part),
  );
}

/**
 * The part that a question is about: where the cause sits that it tells most about.
 * @param {State} s
 * @param {string} id
 */
function askedPart(s, id) {
  const a = (s.conversation && s.conversation.assessment) || {},
    check = (a.nextChecks || []).find((/** @type {any} */ x) => x.observationId === id);
  const about = check && (check.aboutCauseIds || [])[0],
    cause = (a.causes || []).find((/** @type {any} */ x) => x.id === about);
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
  const picture = /** @type {any} */ (document.getElementById("picture")),
    now = current(s),
    c = s.conversation;
  const trying = ["start", "well"].includes(now.kind),
    causes = trying ? [] : causesOf(s),
    leads = trying ? [] : leading(s),
    all = levels(
      causes,
      leads.map((x) => x.part),
    ),
    bars = barred(s);
  const asked = now.info && !s.view ? askedPart(s, now.info.id) : "";
  const mended = new Set(
    ((c && c.recovery && c.recovery.repairs) || []).flatMap((/** @type {any} */ r) => r.causeIds || []),
  );
  const done = new Set(
    ((c && c.assessment && c.assessment.causes) || [])
      .filter((/** @type {any} */ x) => mended.has(x.id))
      .map((/** @type {any} */ x) => x.part),
  );
  for (const g of picture.querySelectorAll("[data-place]")) {
    const part = g.dataset.place,
      n = all.get(part) || 0,
      label = `${t("part." + part)}: ${done.has(part) && trying ? t("level.mended") : suspected(n)}`;
    set(g, "data-level", String(n));
    set(g, "data-asked", part === asked ? "" : null);
    set(g, "data-chosen", s.view === "part:" + part ? "" : null);
    set(g, "data-mended", done.has(part) && trying ? "" : null);
    set(g, "role", "button");
    set(g, "tabindex", n > 0 ? "0" : "-1");
    set(
      g,
      "aria-label",
      [label, part === asked && t("level.asked"), bars.has(part) && t("level.danger")].filter(Boolean).join(". "),
    );
    g.onclick = () => act.view("part:" + part);
    g.onkeydown = (/** @type {any} */ e) => {
      if (e.key === "Enter" || e.key === " ") {
        e.preventDefault();
        act.view("part:" + part);
      }
    };
  }
  const told = new Map(((c && c.told) || []).map((x) => [x.observation.id, x.observation]));
  const code = (told.get("fault_code") || {}).state || "";
  /** @type {any} */ (document.getElementById("shown")).textContent = /^E-\d/.test(code) ? code : "– –";
  const bubbles = (told.get("bubbles") || {}).state;
  set(picture, "data-bubbles", bubbles === "few" || bubbles === "many" ? bubbles : null);
  const below = [...new Set(leads.map((x) => x.part))].map((part) => BELOW[part]).filter(Boolean);
  set(document.getElementById("ptr"), "d", below.map(([x]) => `M${x - 4.5} 132l4.5-7 4.5 7z`).join(""));
  set(document.getElementById("lead"), "d", below.map(([x, from]) => (from ? `M${x} ${from}V126` : "")).join(""));
  patch(
    /** @type {any} */ (document.getElementById("bars")),
    [...bars].map((part) => {
      const [x, y] = MIDDLE[part];
      return h(
        "g",
        { key: part, "data-bar": part },
        h("circle", { cx: x, cy: y, r: 8 }),
        h("use", { href: "#sign-stop", x: x - 8, y: y - 8, width: 16, height: 16 }),
      );
    }),
  );
}

/** @param {any} node @param {string} name @param {string | null} value */
function set(node, name, value) {
  if (node.getAttribute(name) === value) return;
  value === null ? node.removeAttribute(name) : node.setAttribute(name, value);
}

/** What the picture points at. @param {State} s @param {Act} act */
export function viewFace(s, act) {
  const now = current(s),
    c = s.conversation;
  if (s.mend && c && c.recovery && ["start", "well"].includes(now.kind)) return s.mend.viewFace(s, act, now.kind);
  if (!judged(s)) return [viewAbout()];
  const [lead, other] = leading(s),
    p = lead.probability || 0,
    q = other ? other.probability || 0 : 0;
  return [
    h(
      "button",
      {
        key: "verdict",
        type: "button",
        class: "read",
        id: "verdict",
        "data-part": "verdict",
        "aria-expanded": String(s.view === "may"),
        onclick: () => act.view(s.view === "may" ? "" : "may"),
      },
      h("span", { class: other ? "two" : "cap" }, t(other ? "verdict.two" : "verdict")),
      h("strong", null, other ? t("verdict.both", { one: lead.title, two: other.title }) : lead.sentence || lead.title),
      h(
        "span",
        { class: other ? "odds pair" : "odds" },
        pips(p),
        h("b", null, odds(p)),
        h("span", { class: "unseen" }, percent(p)),
        other && [pips(q), h("b", null, odds(q)), h("span", { class: "unseen" }, percent(q))],
      ),
    ),
    viewDeed(s, act),
  ];
}

/** What this is, while nothing is told. */
const viewAbout = () =>
  h(
    "div",
    { class: "read", key: "about" },
    h("h2", null, t("heading")),
    h(
      "ol",
      { class: "about" },
      [1, 2, 3].map((n) => h("li", { key: "about" + n }, t("about." + n))),
    ),
    h("p", { class: "about-on" }, t("about.on")),
  );

/**
 * The first thing to do: the first repair that no danger forbids, with the check that it may wait for.
 * @param {State} s
 * @param {Act} act
 */
function viewDeed(s, act) {
  const a = /** @type {any} */ (s.conversation).assessment,
    steps = (a.plan && a.plan.steps) || [];
  const stands = dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION"),
    first = stands ? steps.find((/** @type {any} */ p) => !p.heldBack) : steps[0];
  const none = steps.length ? t("deed.wait") : a.plan && a.plan.ending ? a.plan.ending.text : t("deed.none");
  const small = first
    ? [takes(first), current(s).kind === "ask" && a.plan.nextCheckId && t("deed.question")].filter(Boolean).join(" ")
    : "";
  const to = first ? "repair:" + first.repairId : "todo";
  return h(
    "button",
    {
      key: "deed",
      type: "button",
      class: "first",
      id: "deed",
      "data-part": "deed",
      "data-first": first ? first.repairId : null,
      "aria-expanded": String(s.view === to),
      onclick: () => act.view(s.view === to ? "" : to),
    },
    h("b", { class: "tag" }, t(stands ? "deed.first" : "deed")),
    h(
      "span",
      { class: "what" },
      first ? first.title : none,
      first && first.heldBack ? h("small", { class: "held" }, first.heldBack) : small && h("small", null, small),
    ),
    on(),
  );
}

/** What a repair takes of time and money. @param {any} p */
export const takes = (p) =>
  `${minutes(p.minutes || 0)}, ` +
  `${p.partsEuros ? t("takes.cost", { n: Math.round(p.partsEuros) }) : t("takes.nothing")}.`;

/** A time as people say it. @param {number} n minutes */
export function minutes(n) {
  if (n < 1) return t("takes.half");
  if (n < 75) return t(Math.round(n) === 1 ? "takes.minute" : "takes.minutes", { n: Math.round(n) });
  const halves = Math.round(n / 30),
    whole = Math.floor(halves / 2);
  return t("takes.hours", { n: (whole ? number(whole) : "") + (halves % 2 ? "½" : "") });
}

export const on = () =>
  h("svg", { class: "go-on", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#on" }));
