// @ts-check
/**
 * What it may be: the causes with what speaks for and against each, and what is suspected at one part of the heater.
 */
import { h } from "./dom.js";
import { leading, on } from "./face.js";
import { bar, level, levels, suspicion } from "./odds.js";
import { current, eventOf, percent, strength } from "./state.js";
import { minutes } from "./face.js";
import { toolTitle } from "./question.js";
import { number, t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

const LEADING = 5,
  ALTERNATIVES = 6,
  AT_A_PART = 8;

/** What is less probable is no suspect, and is listed only where somebody asks for all causes. */
const SUSPECT = 0.01;

/** @param {State} s */
const assessed = (s) => (s.conversation && s.conversation.assessment) || {};

/** @param {State} s @param {Act} act */
export function viewSuspects(s, act) {
  const a = assessed(s),
    causes = a.causes || [];
  /** @type {(c: any, i: number) => boolean} */
  const suspected = (c, i) => i === 0 || (c.probability || 0) >= SUSPECT;
  const shown = s.allCauses ? causes : causes.slice(0, LEADING).filter(suspected);
  return [
    h(
      "section",
      { key: "suspected", id: "suspected", "aria-labelledby": "suspected-title" },
      h("h2", { id: "suspected-title" }, t("suspected")),
      a.likelyPair && h("p", { key: "pair", id: "pair" }, a.likelyPair.text),
      causes.length === 0 ? h("p", { class: "soft" }, t("suspected.none")) : viewCauses(s, act, shown),
      causes.length > LEADING &&
        h(
          "p",
          { class: "soft" },
          t("suspected.sum"),
          " ",
          h(
            "button",
            {
              type: "button",
              class: "small",
              id: "all-causes",
              "aria-expanded": String(s.allCauses),
              onclick: () => act.allCauses(),
            },
            s.allCauses ? t("suspected.fewer", { n: LEADING }) : t("suspected.all", { n: causes.length }),
          ),
        ),
    ),
    (a.chains || []).length > 0 &&
      h("section", { key: "chains", id: "chains" }, h("h2", null, t("chains")), a.chains.map(viewChain)),
    (a.contradictions || []).length > 0 &&
      h(
        "section",
        { key: "odd", id: "odd" },
        h("h2", null, t("odd")),
        h(
          "ul",
          null,
          a.contradictions.map((/** @type {any} */ x) => h("li", null, x.text)),
        ),
      ),
    viewOthers(s, act, a.nextChecks || []),
  ];
}

/** @param {State} s @param {Act} act @param {any[]} causes */
function viewCauses(s, act, causes) {
  const all = levels(
    assessed(s).causes || [],
    leading(s).map((x) => x.part),
  );
  return h(
    "ol",
    { class: "causes" },
    causes.map((c) =>
      h(
        "li",
        { key: c.id, "data-cause": c.id },
        h(
          "details",
          { class: "sus", ontoggle: (/** @type {any} */ e) => e.target.open && act.explain(c.id) },
          h(
            "summary",
            null,
            h("span", { class: "sw", "data-level": String(all.get(c.part) || 0), "aria-hidden": "true" }),
            h("span", { class: "cause" }, c.title),
            h("span", { class: "number" }, percent(c.probability || 0)),
            bar(c.probability || 0)[0],
          ),
          viewReasons(s, c),
        ),
      ),
    ),
  );
}

/**
 * A root, what it leads to, and the cause at the end, as a ladder to be read downwards.
 * @param {any} c
 * @param {number} i
 */
const viewChain = (c, i) =>
  h(
    "div",
    { class: "chain", key: "chain" + i },
    h(
      "ol",
      null,
      c.links.map((/** @type {any} */ l, /** @type {number} */ k) => h("li", { key: String(k) }, l.title)),
    ),
    h("p", null, c.advice),
  );

/** @param {State} s @param {any} cause */
function viewReasons(s, cause) {
  const known = s.explained[cause.id],
    fresh = known && known.event === eventOf(s.conversation) ? known : null;
  const weights = (fresh && fresh.cause && fresh.cause.weights) || cause.weights || [],
    now = cause.probability || 0;
  // What would change nothing that is shown is left out.
  const changes = ((fresh && fresh.wouldChange) || []).filter(
    (/** @type {any} */ w) => percent(w.probabilityAfter || 0) !== percent(now),
  );
  return h(
    "div",
    { class: "reasons" },
    known && known.explanation && h("p", null, known.explanation),
    weights.length > 0
      ? h(
          "ul",
          { class: "weights" },
          weights.map((/** @type {any} */ w) =>
            h(
              "li",
              { key: w.observationId, class: (w.bits || 0) > 0 ? "for" : "against" },
              h("span", null, w.text),
              h(
                "span",
                { class: "soft", title: t("bits.number", { n: number(w.bits || 0, 1) }) },
                strength(w.bits || 0),
              ),
            ),
          ),
        )
      : h("p", { class: "soft" }, t("reasons.none")),
    changes.length > 0 && h("p", { class: "sub" }, t("reasons.change")),
    changes.length > 0 &&
      h(
        "ul",
        { class: "weights" },
        changes.map((/** @type {any} */ w) =>
          h(
            "li",
            { key: w.observationId + w.state },
            h("span", null, w.text),
            h("span", { class: "soft" }, t("reasons.then", { percent: percent(w.probabilityAfter || 0) })),
          ),
        ),
      ),
    !fresh && h("p", { class: "soft later" }, t(s.link === "open" ? "reasons.fetching" : "reasons.later")),
  );
}

/** Other checks than the one that is asked. @param {State} s @param {Act} act @param {any[]} checks */
function viewOthers(s, act, checks) {
  const now = current(s),
    asked = now.info && now.info.id;
  const others = checks.filter((c) => c.observationId !== asked).slice(0, ALTERNATIVES);
  if (others.length === 0 || now.kind === "safety") return null;
  return h(
    "section",
    { key: "others", id: "others", "aria-labelledby": "others-title" },
    h("h2", { id: "others-title" }, t("others")),
    viewChecks(s, act, others),
  );
}

/** @param {State} s @param {Act} act @param {any[]} checks */
function viewChecks(s, act, checks) {
  const causes = assessed(s).causes || [];
  const about = (/** @type {any} */ c) =>
    (c.aboutCauseIds || [])
      .map((/** @type {string} */ id) => (causes.find((/** @type {any} */ x) => x.id === id) || {}).title)
      .filter(Boolean)
      .join(", ");
  return h(
    "ul",
    { class: "others" },
    checks.map((c) =>
      h(
        "li",
        { key: c.observationId },
        h(
          "button",
          { type: "button", class: "askrow", "data-ask": c.observationId, onclick: () => act.ask(c.observationId) },
          h(
            "span",
            null,
            c.question,
            h(
              "small",
              null,
              [
                t("ask.minutes", { time: minutes(c.minutes || 0) }),
                c.tool && t("ask.needs", { tool: toolTitle(s, c.tool) }),
                about(c) && t("others.about", { causes: about(c) }),
              ]
                .filter(Boolean)
                .join(" "),
            ),
          ),
          on(),
        ),
      ),
    ),
  );
}

/** What sits at one part, and what can be checked there. @param {State} s @param {Act} act @param {string} part */
export function viewPart(s, act, part) {
  const a = assessed(s),
    here = (a.causes || []).filter((/** @type {any} */ c) => c.part === part),
    p = suspicion(a.causes || []).get(part) || 0;
  const ids = new Set(here.map((/** @type {any} */ c) => c.id));
  const checks = (a.nextChecks || []).filter((/** @type {any} */ c) =>
    (c.aboutCauseIds || []).some((/** @type {string} */ id) => ids.has(id)),
  );
  return [
    h(
      "h2",
      { key: "part-title", id: "part-title" },
      h("span", {
        class: "sw",
        "data-level": String(level(p, (a.causes || [{}])[0]?.part === part)),
        "aria-hidden": "true",
      }),
      t("part." + part),
    ),
    h("p", { key: "part-what", class: "soft" }, t("what." + part)),
    here.length > 0
      ? viewCauses(s, act, here.slice(0, AT_A_PART))
      : h("p", { key: "none", class: "soft" }, t("part_none")),
    checks.length > 0 &&
      h(
        "section",
        { key: "checks" },
        h("h2", null, t("part_checks")),
        viewChecks(s, act, checks.slice(0, ALTERNATIVES)),
      ),
  ];
}
