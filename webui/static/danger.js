// @ts-check
/**
 * Dangers as they are seen. Leave now fills the screen and then stays as a band with its call keys; act now is
 * framed and
 * do not start hatched, each fills the screen once and then stays as a band that names its way out; take care is an
 * outline in the card and never more.
 */
import { h } from "./dom.js";
import { info } from "./state.js";
import { dangers, newDangers, told } from "./told.js";
import { t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./state.js").Danger} Danger */
/** @typedef {import("./question.js").Act} Act */

/** The text's key and the kind of each severity. @type {Record<string, [string, string]>} */
const GRADES = {
  SEVERITY_LEAVE_NOW: ["danger.leave", "leave"],
  SEVERITY_URGENT: ["danger.urgent", "act"],
  SEVERITY_NO_START: ["danger.no_start", "stop"],
  SEVERITY_CAUTION: ["danger.caution", "care"],
};

/** @param {Danger} d */
export const grade = (d) => GRADES[d.severity] || GRADES.SEVERITY_LEAVE_NOW;

/** @param {Danger} d */
export const gradeText = (d) => t(grade(d)[0]);

/** The shape that says the severity without colour: octagon, diamond, barred ring, triangle. @param {Danger} d */
export const sign = (d) =>
  h("svg", { class: "sign", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#sign-" + grade(d)[1] }));

const callKeys = () =>
  h(
    "p",
    { class: "calls", key: "calls" },
    ["112", "999", "911"].map((n) => h("a", { class: "call", href: "tel:" + n }, t("call." + n))),
  );

/** @param {string[]} sentences @param {number} [start] */
function steps(sentences, start = 1) {
  const how = { class: "steps", start: start > 1 ? start : null, "--from": String(start - 1) };
  return h(
    "ol",
    how,
    sentences.map((text) => h("li", null, h("span", null, text))),
  );
}

/** What raised a danger, saved or not, in words. @param {State} s @param {Danger} d */
export function raisedBy(s, d) {
  const { all, words } = told(s),
    saved = (s.conversation && s.conversation.told) || [];
  return (d.triggerIds || [])
    .filter((id) => all.has(id))
    .map((id) => {
      const line = saved.find((x) => x.observation.id === id),
        asked = info(s, id);
      return { id, text: words.get(id) || (line && line.text) || (asked && asked.title) || id };
    });
}

/** The dangers that the screen is for now: those of the worst kind. @param {State} s */
export function onScreen(s) {
  const fresh = newDangers(s),
    worst = ["leave", "act"].find((kind) => fresh.some((d) => grade(d)[1] === kind));
  return worst ? fresh.filter((d) => grade(d)[1] === worst) : fresh;
}

/** The whole screen. @param {State} s @param {Act} act */
export function viewDanger(s, act) {
  const shown = onScreen(s),
    kind = shown.length ? grade(shown[0])[1] : "";
  const people = shown.some((d) => d.severity === "SEVERITY_LEAVE_NOW");
  const after = kind === "leave" ? shown.filter((d) => (d.wayOut || []).length) : [];
  if (people && s.out && after.length) return viewOut(after, act);
  const next = people && after.length ? () => act.out() : () => act.acknowledge(shown.map((d) => d.id));
  const key = people ? "danger.all_out" : kind === "stop" ? "danger.is_off" : "danger.read";
  const raised = shown.flatMap((d) => raisedBy(s, d)).filter((x, i, all) => all.findIndex((y) => y.id === x.id) === i);
  return [
    ...shown.map((d, i) =>
      h(
        "section",
        { key: d.id, "data-danger": d.id, class: "grade-" + grade(d)[1] },
        head(d, gradeText(d), d.title, i === 0),
        kind === "leave" ? viewLeave(d) : viewStop(s, d),
      ),
    ),
    h(
      "div",
      { key: "deeds", class: "deeds" },
      shown.some((d) => d.callEmergency) && callKeys(),
      h("button", { type: "button", class: "key ack", id: "acknowledge", onclick: next }, t(key)),
      kind === "leave"
        ? h(
            "button",
            {
              type: "button",
              class: "small wrong",
              id: "wrong",
              onclick: () => raised.forEach((x) => act.retract(x.id, x.text)),
            },
            t("danger.none"),
          )
        : raised.map((x) =>
            h(
              "button",
              {
                type: "button",
                key: "back-" + x.id,
                class: "small wrong",
                "data-undo": x.id,
                onclick: () => act.retract(x.id, x.text),
              },
              t("danger.back_this", { text: x.text }),
            ),
          ),
    ),
  ];
}

/** @param {Danger} d @param {string} above @param {string} title @param {boolean} first */
const head = (d, above, title, first) =>
  h(
    "h2",
    { id: first ? "danger-title" : null, tabindex: "-1" },
    sign(d),
    h("span", { class: "grade" }, above),
    h("span", { class: "title" }, title),
  );

/** @param {Danger} d */
const viewLeave = (d) => ((d.steps || []).length ? steps(d.steps || []) : h("p", null, d.text));

/** @param {State} s @param {Danger} d */
function viewStop(s, d) {
  const now = d.steps || [],
    later = d.wayOut || [];
  return [
    h(
      "p",
      { class: "raised" },
      t("danger.told", {
        list: raisedBy(s, d)
          .map((x) => x.text)
          .join("; "),
      }),
    ),
    now.length === 0 && h("p", null, d.text),
    now.length > 0 && [h("h3", null, t("danger.now")), steps(now)],
    later.length > 0 && [h("h3", null, t("danger.then")), steps(later, now.length + 1)],
  ];
}

/** What holds once all are out. @param {Danger[]} shown @param {Act} act */
const viewOut = (shown, act) => [
  ...shown.map((d, i) =>
    h(
      "section",
      { key: d.id, "data-danger": d.id, class: "grade-leave" },
      head(d, t("danger.out"), t("danger.stay"), i === 0),
      steps(d.wayOut || []),
    ),
  ),
  h(
    "div",
    { key: "deeds", class: "deeds" },
    callKeys(),
    h(
      "button",
      { type: "button", class: "key ack", id: "acknowledge", onclick: () => act.acknowledge(shown.map((d) => d.id)) },
      t("danger.go_on"),
    ),
  ),
];

/** The bands: what stands, what to do, and what would end it. @param {State} s @param {Act} act */
export const viewBanner = (s, act) =>
  dangers(s)
    .filter((d) => grade(d)[1] !== "care")
    .map((d) => {
      const way = (d.wayOut || [])[0];
      return h(
        "div",
        { key: d.id, "data-banner": d.id, "data-part": "danger", class: "standing grade-" + grade(d)[1] },
        h(
          "details",
          { ontoggle: (/** @type {any} */ e) => e.target.open && (d.liftedBy || []).length && act.catalogue() },
          h(
            "summary",
            null,
            sign(d),
            h("span", null, named(d), grade(d)[1] !== "leave" && h("span", { class: "way" }, way || t("danger.way"))),
          ),
          viewBody(s, act, d),
        ),
        d.callEmergency && callKeys(),
      );
    });

/** What is to be taken care of, as outlines in the card. @param {State} s @param {Act} act */
export const viewCare = (s, act) =>
  dangers(s)
    .filter((d) => grade(d)[1] === "care")
    .map((d) =>
      h(
        "details",
        { key: d.id, "data-banner": d.id, "data-part": "danger", class: "care" },
        h("summary", null, sign(d), h("span", null, named(d))),
        viewBody(s, act, d),
      ),
    );

/** @param {Danger} d */
const named = (d) => [h("span", { class: "grade" }, gradeText(d)), " ", h("span", null, d.title)];

/** @param {State} s @param {Act} act @param {Danger} d */
function viewBody(s, act, d) {
  const now = d.steps || [],
    later = d.wayOut || [];
  const ways = (d.liftedBy || []).flatMap((l) => (l.observations || []).slice(0, 1)).map((o) => info(s, o.id));
  return [
    now.length > 0 ? steps(now) : h("p", null, d.text),
    later.length > 0 && [h("p", { class: "sub" }, t("danger.then")), steps(later, now.length + 1)],
    h("p", null, t("danger.stands")),
    h(
      "ul",
      null,
      raisedBy(s, d).map((x) =>
        h(
          "li",
          { key: x.id },
          x.text,
          " ",
          h(
            "button",
            {
              type: "button",
              class: "small",
              "data-withdraw": x.id,
              onclick: () => act.retract(x.id, x.text),
              "aria-label": t("danger.back_this", { text: x.text }),
            },
            t("danger.back"),
          ),
        ),
      ),
      ways.map(
        (i) =>
          i &&
          h(
            "li",
            { key: "way-" + i.id },
            h(
              "button",
              { type: "button", class: "small", "data-lift": i.id, onclick: () => act.ask(i.id) },
              i.question || i.title,
            ),
          ),
      ),
    ),
  ];
}

/** What was typed and may be a danger, asked at once. @param {import("./told.js").Ask[]} asks @param {Act} act */
export const viewAsks = (asks, act) =>
  asks.slice(0, 1).map((a) =>
    h(
      "section",
      { key: a.key, class: "doubt", "data-doubt": a.id },
      h("p", { class: "soft" }, t("doubt.wrote", { words: a.words })),
      h("h2", { tabindex: "-1" }, a.question),
      h(
        "div",
        { class: "keys", role: "group", "aria-label": t("ask.answers") },
        a.choices.map((c) =>
          h(
            "button",
            { type: "button", key: c.id, class: "key", "data-means": c.id, onclick: () => act.means(a, c.id) },
            c.title || t("doubt.yes"),
          ),
        ),
        h(
          "button",
          { type: "button", key: "no", class: "key", "data-means": "", onclick: () => act.means(a, "") },
          t(a.choices.length > 1 ? "doubt.neither" : "doubt.no"),
        ),
      ),
    ),
  );
