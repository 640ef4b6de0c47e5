// @ts-check
/**
 * After a repair: a start to be watched, how sure it is that the heater is well, and what it was in the end. Comes
 * when it is wanted.
 */
import { heading, upper } from "./question.js";
import { h } from "./dom.js";
import { pips } from "./odds.js";
import { viewSolvedText } from "./share.js";
import { percent } from "./state.js";
import { dangers } from "./told.js";
import { region, t } from "./text.js";
import { viewClock, viewStart } from "./watch.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** What was done, what it came to and, weeks later, whether it has held. @param {State} s @param {Act} act */
export function viewMended(s, act) {
  const c = s.conversation,
    r = c && c.recovery;
  if (!c) return [];
  return [
    r &&
      h(
        "div",
        { key: "done", id: "repairs" },
        h("h2", null, t("mend.title")),
        h(
          "ol",
          { class: "repairs" },
          (r.repairs || []).map((/** @type {any} */ x) =>
            h(
              "li",
              { key: x.repairId, "data-mended": x.repairId },
              h("span", null, x.title),
              h(
                "span",
                { class: "line-keys" },
                h(
                  "button",
                  {
                    type: "button",
                    class: "small",
                    "aria-label": t("mend.not_this", { title: x.title }),
                    onclick: () =>
                      act.queue(
                        "mend",
                        { repairId: x.repairId, takeBack: true },
                        t("line.was_back", { text: x.title }),
                        [],
                      ),
                  },
                  t("mend.not"),
                ),
              ),
            ),
          ),
        ),
        r.started && r.stage !== "STAGE_WELL" && h("p", { key: "came" }, t(r.ran ? "mend.ran" : "mend.failed")),
        r.stage === "STAGE_DOUBTFUL" && viewDoubt(r),
        !c.settlement && r.stage !== "STAGE_WELL" && viewSettle(s, act, !!r.ran),
      ),
    c.settlement && viewSettled(act, c.settlement),
    c.settlement && r && r.stage !== "STAGE_WELL" && viewSolvedText(s, act),
  ].filter(Boolean);
}

/** @param {any} r */
const viewDoubt = (r) => [
  h("p", { key: "doubt", class: "wait" }, t("mend.doubt", { percent: percent(r.probabilityWell || 0) })),
  (r.remaining || []).length > 0 &&
    h(
      "ul",
      { key: "rest", class: "weights" },
      r.remaining.map((/** @type {any} */ x) =>
        h("li", { key: x.id }, x.title, h("span", { class: "soft" }, " — " + percent(x.probability || 0))),
      ),
    ),
];

/** @param {State} s @param {Act} act @param {string} kind */
export const viewStage = (s, act, kind) => (kind === "start" ? viewStart(s, act) : viewWell(s, act));

/** @param {State} s @param {Act} act @param {string} kind */
export const viewFace = (s, act, kind) => (kind === "start" ? viewClock(s) : viewOutcome(s));

/** What it was and how sure it is that the heater is well. @param {State} s */
function viewOutcome(s) {
  const c = /** @type {any} */ (s.conversation),
    r = c.recovery,
    p = r.probabilityWell || 0,
    last = (r.repairs || [])[r.repairs.length - 1];
  const was = ((last && last.causeIds) || [])
    .map((/** @type {string} */ id) => (c.assessment.causes || []).find((/** @type {any} */ x) => x.id === id))
    .filter(Boolean)[0];
  return [
    h(
      "div",
      { class: "read", key: "outcome", "data-part": "verdict" },
      h("span", { class: "cap" }, t("outcome.was")),
      h("strong", null, was ? was.title : t("outcome.well")),
      h("span", { class: "odds" }, pips(p), h("b", null, t("well.title", { percent: percent(p) }))),
    ),
  ];
}

/** @param {State} s @param {Act} act */
function viewWell(s, act) {
  const c = /** @type {any} */ (s.conversation),
    r = c.recovery;
  return [
    upper(
      heading("well", t("well.head")),
      h("p", null, t("well.how")),
      (r.roots || []).length > 0 &&
        h(
          "div",
          { key: "roots", class: "roots" },
          h("h3", null, t("well.roots")),
          r.roots.map((/** @type {any} */ x, /** @type {number} */ k) =>
            h(
              "p",
              { key: "root" + k },
              x.links.map((/** @type {any} */ l) => l.title).join(" → "),
              h("br", null),
              h("strong", null, x.advice),
            ),
          ),
        ),
      listed("prevention", t("well.prevention"), r.prevention),
      listed("parts", t("well.parts"), r.parts),
      viewSolvedText(s, act),
      !c.settlement && viewSettle(s, act, true),
    ),
  ];
}

/** @param {string} id @param {string} title @param {string[]} [items] */
const listed = (id, title, items) =>
  (items || []).length > 0 &&
  h(
    "div",
    { key: id, id },
    h("h3", null, title),
    h(
      "ul",
      { class: "plain" },
      /** @type {string[]} */ (items).map((x) => h("li", { key: x }, x)),
    ),
  );

const FINDERS = ["OWNER", "WORKSHOP", ...(document.documentElement.dataset.place === "desk" ? ["DESK"] : [])],
  SURETIES = ["PROVED", "LIKELY", "GUESSED"];

/**
 * What it turned out to be. Nothing is chosen beforehand, for others learn from it.
 * @param {State} s
 * @param {Act} act
 * @param {boolean} ran
 */
function viewSettle(s, act, ran) {
  const c = /** @type {any} */ (s.conversation),
    f = s.found,
    causes = f.causes || [];
  const mended = new Set((c.recovery ? c.recovery.repairs : []).flatMap((/** @type {any} */ x) => x.causeIds || []));
  const ranked = c.assessment.causes || [],
    offered = [
      ...ranked.filter((/** @type {any} */ x) => mended.has(x.id)),
      ...(f.all ? ranked.filter((/** @type {any} */ x) => !mended.has(x.id)) : []),
    ];
  const choice = (/** @type {string} */ name, /** @type {string[]} */ all) =>
    h(
      "fieldset",
      { key: name },
      h("legend", null, t("settle." + name)),
      h(
        "div",
        { class: "keys" },
        all.map((v) =>
          h(
            "button",
            {
              key: v,
              type: "button",
              class: "key",
              ["data-" + name]: v,
              "aria-pressed": String(f[name] === v),
              onclick: () => act.found({ [name]: v }),
            },
            t(`${name}.${v}`),
          ),
        ),
      ),
    );
  const ready = causes.length > 0 && f.finder && f.surety,
    stands = dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION");
  return h(
    "details",
    { class: "fold", key: "settle", id: "settle" },
    h("summary", null, t("settle.title")),
    h("p", { class: "soft" }, t("settle.why")),
    h(
      "fieldset",
      { key: "causes" },
      h("legend", null, t("settle.cause")),
      h(
        "div",
        { class: "keys" },
        offered.map((/** @type {any} */ x) =>
          h(
            "button",
            {
              key: x.id,
              type: "button",
              class: "key",
              "data-cause-found": x.id,
              "aria-pressed": String(causes.includes(x.id)),
              onclick: () =>
                act.found({
                  causes: causes.includes(x.id)
                    ? causes.filter((/** @type {string} */ id) => id !== x.id)
                    : [...causes, x.id],
                }),
            },
            x.title,
          ),
        ),
        !f.all &&
          h(
            "button",
            {
              type: "button",
              class: "small",
              id: "settle-other",
              key: "other",
              onclick: () => act.found({ all: true }),
            },
            t("settle.other"),
          ),
      ),
    ),
    choice("finder", FINDERS),
    choice("surety", ran ? SURETIES : SURETIES.slice(1)),
    stands
      ? h("p", { class: "wait" }, t("desk.unsafe"))
      : h(
          "button",
          {
            type: "button",
            class: "key go wide",
            id: "settle-do",
            disabled: !ready,
            onclick: () =>
              ready &&
              act.queue(
                "settle",
                { causeIds: causes, foundBy: "FINDER_" + f.finder, surety: "SURETY_" + f.surety },
                t("settle.title"),
                [],
              ),
          },
          t("settle.do"),
        ),
  );
}

const HOLDINGS = ["WELL", "CAME_BACK", "OTHER", "UNKNOWN"];

/** What was settled, and the question weeks later. @param {Act} act @param {any} x */
function viewSettled(act, x) {
  const due = x.checkBackAt && Date.parse(x.checkBackAt) <= Date.now(),
    day = (/** @type {string} */ at) => new Date(at).toLocaleDateString(region(), { dateStyle: "medium" });
  return h(
    "div",
    { key: "settled", id: "settled", class: due ? "due" : "" },
    h("h2", null, t("settled.title")),
    h(
      "p",
      null,
      (x.causes || []).map((/** @type {any} */ k) => k.title).join("; "),
      h("span", { class: "soft" }, ` — ${day(x.settledAt)} · ${t("surety." + x.surety.slice(7))}`),
    ),
    due &&
      h(
        "fieldset",
        { key: "held" },
        h("legend", null, t("held.question")),
        h(
          "div",
          { class: "keys" },
          HOLDINGS.map((v) =>
            h(
              "button",
              {
                key: v,
                type: "button",
                class: "key",
                "data-held": v,
                onclick: () => act.queue("check_back", { holding: "HOLDING_" + v }, t("held." + v), []),
              },
              t("held." + v),
            ),
          ),
        ),
      ),
    x.checkBackAt &&
      !due &&
      h(
        "p",
        { key: "later" },
        t("held.later", { date: day(x.checkBackAt) }),
        " ",
        h(
          "a",
          {
            class: "small",
            id: "reminder",
            download: "lightoff.ics",
            href: "data:text/calendar;charset=utf-8," + encodeURIComponent(reminder(x.checkBackAt, act.link())),
          },
          t("held.calendar"),
        ),
      ),
    x.holding && h("p", { key: "said" }, t("held." + x.holding.slice(8))),
  );
}

/** A day in a calendar, as RFC 5545 writes it. @param {string} at @param {string} link */
export function reminder(at, link) {
  const stamp = (/** @type {Date} */ d) => d.toISOString().replace(/[-:]|\.\d+/g, ""),
    day = stamp(new Date(at)).slice(0, 8);
  const text = (/** @type {string} */ x) => x.replace(/[\\;,]/g, "\\$&").replace(/\n/g, "\\n");
  return [
    "BEGIN:VCALENDAR",
    "VERSION:2.0",
    "PRODID:-//lightoff//EN",
    "BEGIN:VEVENT",
    `UID:${day}-${link.slice(-12).replace(/\W/g, "")}@lightoff`,
    "DTSTAMP:" + stamp(new Date()),
    "DTSTART;VALUE=DATE:" + day,
    "SUMMARY:" + text(t("held.question")),
    "DESCRIPTION:" + text(link),
    "END:VEVENT",
    "END:VCALENDAR",
    "",
  ].join("\r\n");
}
