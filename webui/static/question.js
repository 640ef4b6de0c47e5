// @ts-check
/**
 * The dock: the question that is asked, with all its keys, by keypad where it is a number, by search where they are
 * many.
 */
import { h } from "./dom.js";
import { minutes, takes } from "./face.js";
import { current, info } from "./state.js";
import { dangers } from "./told.js";
import { number, t } from "./text.js";

/**
 * @typedef {import("./state.js").State} State @typedef {import("./state.js").Info} Info
 * @typedef {Record<string, (...a: any[]) => any>} Act
 */

/** What the phone can measure, and by what. @type {Record<string, string>} */
export const INSTRUMENTS = { pump_angle: "slope", pump_ticks: "ticks", minutes_to_fail: "clock" };

/** Whether a phone is at hand that can measure it, and a start, where one is needed, is allowed. */
function instrumentFor(/** @type {State} */ s, /** @type {Info} */ i) {
  const kind = INSTRUMENTS[i.id],
    place = document.documentElement.dataset.place;
  if (!kind || place === "desk" || place === "look" || !matchMedia("(pointer: coarse)").matches) return "";
  if (kind === "clock") return dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION") ? "" : kind;
  return (kind === "ticks" ? navigator.mediaDevices : "DeviceOrientationEvent" in window) ? kind : "";
}

/** From how many answers on they are searched. */
const MANY = 9;

/** From how many letters on a question that lists what it asks for is a heading and a list. */
const LONG = 110;

/** @param {State} s @param {Act} act @param {string} kind */
export function viewQuestion(s, act, kind) {
  const now = current(s),
    c = s.conversation,
    told = s.editing && c && (c.told || []).find((x) => x.observation.id === s.editing);
  if (s.editing && info(s, s.editing)) return viewChange(s, act, told);
  if (kind === "offer") return viewOffer(s, act, now.offer);
  switch (kind) {
    case "ask":
      return viewAsk(s, act, /** @type {Info} */ (now.info), {
        reason: now.advised && c ? c.nextReason : "",
        back: !now.advised,
      });
    case "opening":
      return viewOpening(s, act, now.info);
    case "repair":
      return viewRepair(s, act);
    case "start":
    case "well":
      return s.mend ? s.mend.viewStage(s, act, kind) : [heading("loading", t("ask.loading"))];
    case "waiting":
    case "owner":
      return [upper(heading(kind, t("ask." + kind)), h("p", null, t(`ask.${kind}_how`)))];
    case "done":
      return [
        upper(heading(kind, t("ask.done")), h("p", null, t("ask.done_how"))),
        h(
          "div",
          { class: "keys one" },
          h("button", { type: "button", class: "key", id: "done-todo", onclick: () => act.view("todo") }, t("todo")),
        ),
      ];
    case "loading":
      return [heading("loading", t("ask.loading"))];
    case "gone":
      return [
        upper(
          heading("gone", t("ask.gone")),
          h(
            "p",
            null,
            t("ask.gone_how"),
            " ",
            h("a", { href: document.documentElement.dataset.place === "framed" ? location.href : "/" }, t("ask.new")),
          ),
        ),
      ];
    default:
      return [];
  }
}

/** What may scroll, should the keys need the room. @param {...any} kids */
export const upper = (...kids) => h("div", { class: "upper", key: "upper" }, kids);

/** @param {string} id @param {string} text @param {any[]} [parts] the same, with terms as keys */
export const heading = (id, text, parts = [text]) =>
  h(
    "h2",
    { key: "heading-" + id, class: text.length > LONG ? "ask long" : "ask", tabindex: "-1", "data-asks": id },
    parts,
  );

/** What to begin with: the code on the display. @param {State} s @param {Act} act @param {Info} [i] */
const viewOpening = (s, act, i) => [
  upper(heading("opening", t("ask.opening")), h("p", null, t("ask.opening_how"))),
  i && viewKeys(s, act, i, "", t("ask.codes")),
  i && evasions(s, act, i, false),
];

/** The repair that is worth more now than any check. @param {State} s @param {Act} act */
function viewRepair(s, act) {
  const c = /** @type {any} */ (s.conversation),
    a = c.assessment,
    more = (a.nextChecks || [])[0];
  const p = a.plan.steps.find((/** @type {any} */ x) => x.repairId === c.nextRepairId);
  if (!p) return [heading("loading", t("ask.loading"))];
  return [
    upper(heading("repair", p.title), h("p", null, `${takes(p)} ${c.nextReason || ""}`)),
    h(
      "div",
      { class: "keys", key: "keys" },
      h(
        "button",
        { type: "button", class: "key go", id: "repair-steps", onclick: () => act.view("repair:" + p.repairId) },
        t("repair.steps"),
      ),
      h(
        "button",
        { type: "button", class: "key", "data-done": p.repairId, onclick: () => act.done(p) },
        t("mend.done"),
      ),
    ),
    more &&
      h(
        "div",
        { class: "quiet", key: "quiet" },
        h("button", { type: "button", id: "ask-more", onclick: () => act.ask(more.observationId) }, t("mend.first")),
      ),
  ];
}

/** What the words likely meant, to be confirmed. @param {State} s @param {Act} act @param {any} offer */
function viewOffer(s, act, offer) {
  const { reading, alternatives } = offer.suggestion,
    all = [reading, ...(alternatives || [])];
  const value = (/** @type {any} */ o) =>
    o.state ? { state: o.state } : o.unknown ? { unknown: true } : { number: o.number || 0 };
  return [
    upper(
      heading(reading.observation.id, all.length > 1 ? t("offer.which") : t("offer.one", { text: reading.text })),
      h("p", null, t("offer.wrote", { words: reading.words })),
    ),
    h(
      "div",
      { class: all.length > 1 ? "keys one" : "keys", role: "group", "aria-label": t("ask.answers"), key: "keys" },
      all.map((r, i) =>
        h(
          "button",
          {
            key: "offer" + i,
            type: "button",
            class: "key",
            "data-offer": offer.id,
            "data-state": r.observation.state || null,
            onclick: () => act.answer({ id: r.observation.id, title: "" }, value(r.observation), r.text),
          },
          all.length > 1 ? r.text : t("offer.yes"),
        ),
      ),
      h(
        "button",
        {
          key: "no",
          type: "button",
          class: "key",
          "data-dismiss": offer.id,
          "data-skip": reading.observation.id,
          onclick: () => act.dismiss(offer, reading),
        },
        t(all.length > 1 ? "offer.none" : "offer.no"),
      ),
    ),
  ];
}

/** An answer given, to be changed or taken back. @param {State} s @param {Act} act @param {any} told */
function viewChange(s, act, told) {
  const i = /** @type {Info} */ (info(s, s.editing)),
    job = s.queue.find((j) => j.ids.includes(s.editing));
  const given = job && (job.request.observations || []).find((/** @type {any} */ x) => x.id === s.editing);
  const text = (told && told.text) || (job && job.label) || i.title;
  return [
    ...viewAsk(s, act, i, { given: given || (told && told.observation) }).filter((x) => !x || x.props.key !== "quiet"),
    h(
      "div",
      { class: "quiet", key: "change" },
      h(
        "button",
        {
          type: "button",
          "data-retract": s.editing,
          "aria-label": t("line.back_this", { text }),
          onclick: () => act.retract(s.editing, text),
        },
        t("line.back"),
      ),
      h(
        "button",
        { type: "button", "data-unknown": i.id, onclick: () => act.answer(i, { unknown: true }, t("line.cannot")) },
        t("ask.cannot"),
      ),
      h("button", { type: "button", id: "leave", onclick: () => act.edit("") }, t("line.leave")),
    ),
  ];
}

/**
 * One question with its answers.
 * @param {State} s @param {Act} act @param {Info} i @param {{given?: any, reason?: string, back?: boolean}} how
 * @returns {any[]}
 */
function viewAsk(s, act, i, { given, reason, back }) {
  const hints = cautionsOf(i),
    shown = s.how === i.id,
    about = aboutOf(s, i.id);
  const facts = [
    i.minutes && t("ask.minutes", { time: minutes(i.minutes) }),
    i.tool && t("ask.needs", { tool: toolTitle(s, i.tool) }),
    about && t("ask.about", { cause: about }),
  ]
    .filter(Boolean)
    .join(" ");
  const asked = i.question || i.title,
    [head, list] = asked.length > LONG ? asked.split(/(?<=^[^:]+):\s/) : [asked];
  const terms = s.terms ? s.terms.marked(i.id, asked) : null;
  return [
    upper(
      heading(i.id, list ? head + ":" : asked, terms && !list ? terms.text : undefined),
      terms && !list && terms.notes,
      list && h("p", { key: "list", class: "list" }, list),
      facts && h("p", { key: "facts" }, facts),
      viewCautions(hints),
      shown &&
        h(
          "div",
          { key: "how", class: "how", id: "how-to" },
          s.drawings && s.drawings.viewDrawing(i.id),
          matchMedia("(pointer: coarse)").matches &&
            h(
              "button",
              {
                key: "light",
                type: "button",
                class: "small",
                id: "light",
                "aria-pressed": String(s.lit === "on"),
                onclick: () => act.light(),
              },
              t(s.lit === "none" ? "light.none" : "light"),
            ),
          i.how && h("p", null, i.how),
          i.normal && h("p", null, h("strong", null, t("ask.normal")), " " + i.normal),
          i.why && h("p", null, h("strong", null, t("ask.why")), " " + i.why),
          reason && h("p", null, reason),
        ),
    ),
    s.instruments && s.measuring === i.id
      ? s.instruments.viewInstrument(s, act, i, INSTRUMENTS[i.id])
      : (i.states || []).length > 0
        ? viewKeys(s, act, i, given && given.state, t("ask.answers"))
        : numberForm(s, act, i, given && given.number),
    evasions(s, act, i, back),
  ];
}

/** The cause that a check tells most about. @param {State} s @param {string} id */
function aboutOf(s, id) {
  const a = (s.conversation && s.conversation.assessment) || {},
    check = (a.nextChecks || []).find((/** @type {any} */ x) => x.observationId === id);
  const about = check && (check.aboutCauseIds || [])[0],
    cause = (a.causes || []).find((/** @type {any} */ x) => x.id === about);
  return cause ? cause.title : "";
}

/** What is to be minded in making a check: by its hazards, then in the text's own words. @param {Info} i */
export const cautionsOf = (i) =>
  [
    i.needsStart && t("mind.start"),
    i.opensFuel && t("mind.fuel"),
    i.opensBurner && t("mind.burner"),
    i.touchesHot && t("mind.hot"),
    ...(i.cautions || []),
  ].filter(Boolean);

/**
 * The cautions of a check or repair, each with when it is to be minded: before, during, after or never.
 * @param {{ cautions?: string[], cautionPhases?: string[] }} of
 */
export const cautionsIn = (of) =>
  (of.cautions || []).map((text, i) => ({
    text,
    when: ((of.cautionPhases || [])[i] || "CAUTION_PHASE_BEFORE").slice("CAUTION_PHASE_".length).toLowerCase(),
  }));

/** @param {any[]} texts */
export const viewCautions = (texts, key = "minds") =>
  texts.length > 0 &&
  h(
    "ul",
    { key, class: "minds", "aria-label": t("mind") },
    texts.map((text) =>
      h(
        "li",
        { key: text },
        h("svg", { class: "ic", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#mind" })),
        text,
      ),
    ),
  );

/**
 * The keys of the answers; many can be searched.
 * @param {State} s
 * @param {Act} act
 * @param {Info} i
 * @param {string | undefined} given
 * @param {string} label
 */
function viewKeys(s, act, i, given, label) {
  const states = i.states || [],
    many = states.length >= MANY,
    seek = many ? s.seek.trim().toLowerCase() : "";
  const found = states.filter((st) => (st.title || st.id).toLowerCase().includes(seek));
  const long = states.some((st) => (st.title || "").length > 34),
    three = states.length === 3 && states.every((st) => (st.title || "").length <= 9);
  const keys = h(
    "div",
    { class: `keys${long ? " one" : three ? " three" : ""}`, key: "keys-" + i.id, role: "group", "aria-label": label },
    found.map((st) =>
      h(
        "button",
        {
          key: st.id,
          type: "button",
          class: "key",
          "data-state": st.id,
          "aria-pressed": given ? String(given === st.id) : null,
          onclick: () => act.answer(i, { state: st.id }, st.title),
        },
        st.title || st.id,
      ),
    ),
    measureKey(s, act, i),
  );
  if (!many) return keys;
  return h(
    "div",
    { class: "picker", key: "picker-" + i.id },
    h("input", {
      type: "search",
      class: "seek",
      "aria-label": t("picker"),
      placeholder: t("picker"),
      autocomplete: "off",
      value: s.seek,
      oninput: (/** @type {any} */ e) => act.seek(e.target.value),
    }),
    keys,
    found.length === 0 && h("p", { class: "soft" }, t("picker.none")),
  );
}

/** @param {State} s @param {Act} act @param {Info} i @param {boolean | undefined} back */
const evasions = (s, act, i, back) =>
  h(
    "div",
    { class: "quiet", key: "quiet" },
    h(
      "button",
      { type: "button", "data-unknown": i.id, onclick: () => act.answer(i, { unknown: true }, t("line.cannot")) },
      t(i.unit ? "ask.cannot_measure" : "ask.cannot"),
    ),
    h("button", { type: "button", "data-skip": i.id, onclick: () => act.skip(i) }, t("ask.skip")),
    back && h("button", { type: "button", id: "back", onclick: () => act.ask("") }, t("ask.back")),
    (i.how || i.normal || i.why) &&
      h(
        "button",
        { type: "button", id: "how", "aria-expanded": String(s.how === i.id), onclick: () => act.how(i.id) },
        t(s.how === i.id ? "ask.how_hide" : "ask.how"),
      ),
  );

/** @param {State} s @param {Act} act @param {Info} i */
function measureKey(s, act, i) {
  const kind = instrumentFor(s, i);
  return (
    kind &&
    h(
      "button",
      { key: "measure", type: "button", class: "key measure", id: "measure", onclick: () => act.measure(i.id) },
      t("measure." + kind),
    )
  );
}

const DIGITS = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];

/** @param {State} s @param {Act} act @param {Info} i @param {number} [given] */
function numberForm(s, act, i, given) {
  const bad = s.badReading && s.badReading.id === i.id ? s.badReading.text : "",
    name = "reading-" + i.id;
  const send = (/** @type {any} */ e) => {
    e.preventDefault();
    act.reading(i, /** @type {any} */ (document.getElementById(name)).value);
  };
  const type = (/** @type {(text: string) => string} */ change) => () => {
    const f = /** @type {any} */ (document.getElementById(name));
    f.value = change(f.value);
  };
  const digit = (/** @type {string} */ d) =>
    h("button", { key: d, type: "button", "data-digit": d, onclick: type((text) => text + d) }, d);
  // Where there is a keypad of the page's own, the system's would cover it.
  const touch = matchMedia("(pointer: coarse)").matches,
    point = number(1.5).charAt(1);
  return h(
    "form",
    { class: "reading", key: name, novalidate: true, onsubmit: send },
    h(
      "div",
      { class: "val" },
      h("label", { for: name, class: "unseen" }, t("reading")),
      h(
        "span",
        { class: "big" },
        h("input", {
          id: name,
          type: "text",
          inputmode: touch ? "none" : "decimal",
          autocomplete: "off",
          value: given === undefined ? null : number(given),
          "aria-invalid": bad ? "true" : null,
          "aria-describedby": `${name}-unit ${name}-bad`,
        }),
        h("span", { class: "unit", id: name + "-unit" }, i.unit || ""),
      ),
      i.normal &&
        !bad &&
        h("p", { class: "hint", key: "normal" }, h("strong", null, t("reading.normal")), " " + i.normal),
      h("p", { class: "bad", id: name + "-bad", role: "alert", key: "bad" }, bad),
      measureKey(s, act, i),
    ),
    h(
      "div",
      { class: "pad", role: "group", "aria-label": t("pad") },
      DIGITS.map(digit),
      (i.minimum || 0) < 0
        ? h(
            "button",
            {
              key: "minus",
              type: "button",
              onclick: type((text) => (text.startsWith("−") ? text.slice(1) : "−" + text)),
              "aria-label": t("pad.minus"),
            },
            "±",
          )
        : null,
      h(
        "button",
        {
          key: "point",
          type: "button",
          "data-digit": ".",
          class: (i.minimum || 0) < 0 ? null : "wide",
          onclick: type((text) => (/[.,]/.test(text) ? text : text + point)),
        },
        point,
      ),
      digit("0"),
      h(
        "button",
        {
          key: "back",
          type: "button",
          class: "w",
          "aria-label": t("pad.back"),
          onclick: type((text) => text.slice(0, -1)),
        },
        h(
          "svg",
          { viewBox: "0 0 26 26", "aria-hidden": "true" },
          h("path", { d: "M9 5h13v16H9l-6-8zM12 10l6 6m0-6-6 6" }),
        ),
      ),
      h("button", { key: "take", type: "submit", class: "go" }, t("take")),
    ),
  );
}

/** @param {State} s @param {string} id */
export const toolTitle = (s, id) =>
  ((s.catalogue && s.catalogue.tools.find((x) => x.id === id)) || { title: id.replaceAll("_", " ") }).title;
