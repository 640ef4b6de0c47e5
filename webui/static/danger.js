// @ts-check
/** Dangers: a screen of their own when new, a banner for as long as they stand. */
import { h } from "./dom.js";
import { dangers, newDangers } from "./state.js";
import { t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./card.js").Act} Act */

/** The text's key and the shape of each severity. @type {Record<string, [string, string]>} */
const GRADES = {
  SEVERITY_LEAVE_NOW: ["danger.leave", "octagon"],
  SEVERITY_URGENT: ["danger.urgent", "triangle"],
  SEVERITY_NO_START: ["danger.no_start", "diamond"],
  SEVERITY_CAUTION: ["danger.caution", "disc"],
};

/** @param {import("./state.js").Danger} d */
export const grade = (d) => GRADES[d.severity] || GRADES.SEVERITY_URGENT;

/** @param {import("./state.js").Danger} d */
export const gradeText = (d) => t(grade(d)[0]);

/** @param {import("./state.js").Danger} d */
export const sign = (d) => h("svg", { class: "sign", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#" + grade(d)[1] }));

const callKeys = () => h("p", { class: "calls" }, ["112", "999", "911"].map((n) => h("a", { class: "call", href: "tel:" + n }, t("call." + n))));

/** The full screen. @param {State} s @param {Act} act */
export function viewDanger(s, act) {
  return [
    ...newDangers(s).map((d, i) => h("section", { key: d.id, "data-danger": d.id, class: "grade-" + grade(d)[1] },
      h("h2", { id: i === 0 ? "danger-title" : null, tabindex: "-1" }, sign(d), h("span", { class: "grade" }, gradeText(d)), d.title),
      d.call_emergency && callKeys(),
      h("p", null, d.text))),
    h("button", { key: "ack", type: "button", class: "key ack", id: "acknowledge", onclick: () => act.acknowledge() }, t("danger.read")),
  ];
}

/** The banner: what stands, and what would have to be taken back. @param {State} s @param {Act} act */
export function viewBanner(s, act) {
  const told = (s.conversation && s.conversation.told) || [];
  return dangers(s).map((d) => h("details", { key: d.id, "data-banner": d.id, class: "standing grade-" + grade(d)[1] },
    h("summary", null, sign(d), h("span", { class: "grade" }, gradeText(d)), h("span", null, d.title)),
    h("p", null, d.text),
    d.call_emergency && callKeys(),
    h("p", null, t("danger.stands")),
    h("ul", null, told.filter((x) => (d.trigger_ids || []).includes(x.observation.id)).map((x) => h("li", { key: x.observation.id }, x.text, " ",
      h("button", { type: "button", class: "small", "data-withdraw": x.observation.id, "aria-label": t("danger.back_this", { text: x.text }),
        onclick: () => act.retract(x.observation.id, x.text) }, t("danger.back")))))));
}
