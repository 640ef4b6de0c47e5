// @ts-check
/** Dangers: a screen of their own when new, a banner for as long as they stand. */
import { h } from "./dom.js";
import { dangers, newDangers } from "./state.js";

/** @typedef {import("./state.js").State} State @typedef {import("./card.js").Act} Act */

/** The word and shape of each severity. @type {Record<string, [string, string]>} */
const GRADES = {
  SEVERITY_LEAVE_NOW: ["Leave now", "octagon"],
  SEVERITY_URGENT: ["Act now", "triangle"],
  SEVERITY_NO_START: ["Do not start", "diamond"],
  SEVERITY_CAUTION: ["Caution", "disc"],
};

/** @param {import("./state.js").Danger} d */
const grade = (d) => GRADES[d.severity] || GRADES.SEVERITY_URGENT;

/** @param {import("./state.js").Danger} d */
const sign = (d) => h("svg", { class: "sign", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#" + grade(d)[1] }));

const callKeys = () => h("p", { class: "calls" }, ["112", "999", "911"].map((n) => h("a", { class: "call", href: "tel:" + n }, "Call " + n)));

/** The full screen. @param {State} s @param {Act} act */
export function viewDanger(s, act) {
  return [
    ...newDangers(s).map((d, i) => h("section", { key: d.id, "data-danger": d.id, class: "grade-" + grade(d)[1] },
      h("h2", { id: i === 0 ? "danger-title" : null, tabindex: "-1" }, sign(d), h("span", { class: "grade" }, grade(d)[0]), d.title),
      d.call_emergency && callKeys(),
      h("p", null, d.text))),
    h("button", { key: "ack", type: "button", class: "key ack", id: "acknowledge", onclick: () => act.acknowledge() }, "I have read this"),
  ];
}

/** The banner. @param {State} s */
export function viewBanner(s) {
  return dangers(s).map((d) => h("details", { key: d.id, "data-banner": d.id, class: "standing grade-" + grade(d)[1] },
    h("summary", null, sign(d), h("span", { class: "grade" }, grade(d)[0]), h("span", null, d.title)),
    h("p", null, d.text),
    d.call_emergency && callKeys(),
    h("p", null, "This stands until what raised it is taken back.")));
}
