// @ts-check
/** What to do: the repairs in the order that costs least, and one of them step by step. */
import { h } from "./dom.js";
import { minutes, on, takes } from "./face.js";
import { cautionsIn, viewCautions } from "./question.js";
import { bar, odds } from "./odds.js";
import { current, percent } from "./state.js";
import { dangers } from "./told.js";
import { t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** @param {State} s */
const planOf = (s) => (s.conversation && s.conversation.assessment && s.conversation.assessment.plan) || {};

/** A danger that forbids a start stands. @param {State} s */
const forbidden = (s) => dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION");

/** The repairs in order. @param {State} s @param {Act} act */
export function viewTodo(s, act) {
  const plan = planOf(s),
    steps = plan.steps || [];
  if (!s.conversation || ["start", "well"].includes(current(s).kind)) return null;
  return h(
    "section",
    { key: "plan", id: "plan", "aria-labelledby": "plan-title" },
    h("h2", { id: "plan-title" }, t("todo")),
    plan.note && h("p", null, plan.note),
    steps.length > 0
      ? h("p", { class: "soft" }, t("todo.how"))
      : !plan.note && h("p", { class: "soft" }, t("todo.none")),
    h(
      "ol",
      { class: "plan" },
      steps.map((/** @type {any} */ p, /** @type {number} */ i) =>
        h(
          "li",
          { key: p.repairId, "data-repair": p.repairId },
          h(
            "button",
            { type: "button", class: "rep", onclick: () => act.view("repair:" + p.repairId) },
            h(
              "span",
              null,
              h("strong", null, p.title),
              h("small", null, takes(p) + (p.together ? " " + t("plan.together") : "")),
            ),
            on(),
          ),
          h(
            "p",
            { class: "cum" },
            bar(p.probabilityWellAfter || p.probabilityNeeded || 0)[0],
            h(
              "span",
              null,
              t(i === 0 ? "plan.needed" : "plan.so_far", {
                percent: percent((i > 0 && p.probabilityWellAfter) || p.probabilityNeeded || 0),
              }),
            ),
          ),
          p.heldBack && h("p", { class: "wait" }, h("strong", null, t("plan.wait")), " " + p.heldBack),
        ),
      ),
    ),
    plan.ending &&
      h(
        "p",
        { class: "ending" },
        h("strong", null, t("plan.ending", { n: plan.ending.afterSteps || 0 })),
        " " + plan.ending.text,
      ),
  );
}

/**
 * Sentences to be ticked off one after the other; the next one stands out.
 * @param {string} key @param {string} title @param {string[]} sentences
 */
const ticked = (key, title, sentences) =>
  (sentences || []).length > 0 &&
  h(
    "div",
    { key },
    h("h3", null, title),
    h(
      "ol",
      { class: "ticks", "data-ticks": key },
      sentences.map((x) =>
        h("li", { key: x }, h("label", { class: "tick" }, h("input", { type: "checkbox" }), h("span", null, x))),
      ),
    ),
  );

/**
 * One repair: what it takes, what is needed, and each step as a sentence to be ticked.
 * @param {State} s
 * @param {Act} act
 * @param {string} id
 */
export function viewRepairSteps(s, act, id) {
  const steps = planOf(s).steps || [],
    at = steps.findIndex((/** @type {any} */ p) => p.repairId === id),
    p = steps[at];
  if (!p) return viewTodo(s, act);
  const stop = p.heldBack && forbidden(s),
    cautions = cautionsIn(p);
  const minded = (/** @type {string} */ when) => cautions.filter((c) => c.when === when).map((c) => c.text);
  return [
    h("p", { key: "which", class: "soft" }, t("repair.which", { i: at + 1, n: steps.length })),
    h("h2", { key: "title", id: "repair-title" }, p.title),
    h(
      "div",
      { class: "facts", key: "facts" },
      h("p", null, h("strong", null, minutes(p.minutes || 0)), h("small", null, t("repair.time"))),
      h(
        "p",
        null,
        h("strong", null, p.partsEuros ? t("takes.cost", { n: Math.round(p.partsEuros) }) : "0 €"),
        h("small", null, t("repair.cost")),
      ),
      h("p", null, h("strong", null, odds(p.probabilityNeeded || 0)), h("small", null, t("repair.chance"))),
    ),
    p.heldBack && h("p", { class: "wait", key: "wait" }, h("strong", null, t("plan.wait")), " " + p.heldBack),
    (p.parts || []).length > 0 &&
      h(
        "div",
        { key: "parts" },
        h("h3", null, t("plan.parts")),
        h(
          "ul",
          { class: "plain" },
          p.parts.map((/** @type {string} */ x) => h("li", { key: x }, x)),
        ),
      ),
    ticked("before", t("mind"), minded("before")),
    viewCautions(minded("never"), "never"),
    ticked("steps", t("repair.order"), (p.steps || []).length > 0 ? p.steps : [p.title + "."]),
    minded("during").length > 0 &&
      h("div", { key: "during" }, h("h3", null, t("repair.during")), viewCautions(minded("during"))),
    ticked("after", t("repair.after"), minded("after")),
    p.proof && h("div", { key: "proof" }, h("h3", null, t("plan.proof")), h("p", null, p.proof)),
    p.prevention && h("div", { key: "prevention" }, h("h3", null, t("plan.prevention")), h("p", null, p.prevention)),
    // What a danger forbids is not to be done, so nothing here asks whether it was.
    !stop &&
      h(
        "div",
        { class: "keys one", key: "done" },
        h(
          "button",
          { type: "button", class: "key go", "data-done": p.repairId, onclick: () => act.done(p) },
          t("mend.done_watch"),
        ),
      ),
    steps.length > 1 &&
      h(
        "p",
        { key: "all" },
        h(
          "button",
          { type: "button", class: "small", id: "all-repairs", onclick: () => act.view("todo") },
          t("repair.all"),
        ),
      ),
  ];
}
