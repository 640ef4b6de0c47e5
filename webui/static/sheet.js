// @ts-check
/**
 * What is opened beside the conversation, in its place on a phone: suspects, repairs, a part, help. Comes when wanted.
 */
import { h } from "./dom.js";
import { on } from "./face.js";
import { viewMenu } from "./menu.js";
import { current } from "./state.js";
import { viewPart, viewSuspects } from "./suspects.js";
import { t } from "./text.js";
import { viewRepairSteps, viewTodo } from "./todo.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/**
 * @param {State} s
 * @param {Act} act
 * @param {boolean} wide whether there is room beside the conversation
 * @returns {any[]}
 */
export function viewSheet(s, act, wide) {
  const [view, id] = s.view.split(":"),
    trying = ["start", "well"].includes(current(s).kind);
  switch (view) {
    case "part":
      return viewPart(s, act, id);
    case "repair":
      return [viewRepairSteps(s, act, id)].flat();
    case "menu":
      return viewMenu(s, act);
  }
  // The ranking is for a heater that does not run as it should; while one is tried, or is well, it would mislead.
  if (trying) return [];
  if ((view === "sums" || view === "thread") && !wide) return [];
  if (wide) return [...viewSuspects(s, act), viewTodo(s, act)];
  return view === "todo"
    ? [tabs(s, act), viewTodo(s, act)]
    : view === "may"
      ? [tabs(s, act), ...viewSuspects(s, act)]
      : [];
}

/**
 * The way back, which names the question that waits.
 * @param {State} s
 * @param {Act} act
 * @param {boolean} wide
 * @returns {any[]}
 */
export function viewFoot(s, act, wide) {
  if (!s.view || (wide && !/^(part|repair|menu)/.test(s.view))) return [];
  const asked = /** @type {any} */ (document.querySelector("#safety:not([hidden]) h2, #question .ask"));
  return [
    h(
      "button",
      { key: "back", type: "button", class: "back", id: "sheet-back", onclick: () => act.view("") },
      h("span", null, h("small", null, t("back")), (asked && asked.textContent) || t("say.label")),
      on(),
    ),
  ];
}

/** @param {State} s @param {Act} act */
const tabs = (s, act) =>
  h(
    "div",
    { class: "tabs", key: "tabs" },
    ["may", "todo"].map((v) =>
      h(
        "button",
        { key: v, type: "button", id: "tab-" + v, "aria-pressed": String(s.view === v), onclick: () => act.view(v) },
        t("tab." + v),
      ),
    ),
  );
