// @ts-check
/** A desk's calls: in which group each stands, and its row. The list comes in its order from the service. */
import { grade, gradeText, sign } from "./danger.js";
import { h } from "./dom.js";
import { bar, odds } from "./odds.js";
import { t } from "./text.js";

const DAY = 86400000,
  MINUTE = 60000; // ms

/** The groups, in the order in which they are to be looked at. */
export const GROUPS = ["danger", "waiting", "held", "quiet", "back", "ended"];

/** The worst danger of a call that is open, if it forbids a start. @param {any} e */
export const dangerOf = (e) =>
  e.closing ? null : (e.dangers || []).find((/** @type {any} */ d) => d.severity !== "SEVERITY_CAUTION") || null;

/** Whether people must leave, and nobody at a desk attends to it. @param {any} e */
export const isAlarm = (e) => {
  const d = dangerOf(e);
  return !!d && d.severity === "SEVERITY_LEAVE_NOW" && !e.assignedTo;
};

/** @param {any} e @param {number} now in ms */
export function groupOf(e, now) {
  if (e.closing) return "ended";
  if (dangerOf(e)) return "danger";
  if (e.assignedTo) return "held";
  return now - Date.parse(e.changedAt) > DAY ? "quiet" : "waiting";
}

/** The calls by group; those to ask back have a list of their own. @param {any[]} entries @param {any[]} back
 * @param {number} now @returns {Map<string, any[]>} */
export function grouped(entries, back, now) {
  const all = new Map(GROUPS.map((g) => [g, /** @type {any[]} */ ([])]));
  for (const e of entries) /** @type {any[]} */ (all.get(groupOf(e, now))).push(e);
  all.set("back", back);
  return all;
}

/** How long since, short: to the second where it is under two minutes. @param {string} at @param {number} now */
export function since(at, now) {
  const s = Math.max(0, Math.floor((now - Date.parse(at)) / 1000)),
    minutes = Math.round(s / 60);
  if (s < 120) return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
  return minutes < 100
    ? t("wait.minutes", { n: minutes })
    : minutes < 2880
      ? t("wait.hours", { n: Math.round(minutes / 60) })
      : t("wait.days", { n: Math.round(minutes / 1440) });
}

/** What a call is about, in a few words: a code speaks for itself. @param {any} e */
export const gist = (e) =>
  (e.told || []).map((/** @type {string} */ x) => x.replace(/^[^:]+: (?=E-\d)/, "")).join(" · ");

/** @param {any} e @param {string} group @param {number} now */
export function viewRow(e, group, now) {
  const d = dangerOf(e) || (e.closing ? null : (e.dangers || [])[0]);
  const level = d ? " row-" + grade(d)[1] : "";
  const lead =
    group === "back" || group === "ended"
      ? (e.causes || []).join("; ")
      : e.lead
        ? e.lead.title
        : d && gist(e)
          ? d.title
          : "";
  const p = e.lead && group !== "back" && group !== "ended" ? e.lead.probability || 0 : 0;
  return h(
    "li",
    { key: e.id },
    h(
      "a",
      { class: "call-row" + level, href: "/desk/c/" + encodeURIComponent(e.id), "data-row": e.id },
      h(
        "span",
        { class: "danger-cell" },
        d
          ? h("span", { class: "grade grade-" + grade(d)[1] }, sign(d), gradeText(d))
          : e.closing
            ? h("span", { class: "soft" }, t("outcome." + e.closing.outcome))
            : h("span", { class: "unseen" }, t("desk.calm")),
      ),
      h(
        "span",
        { class: "what" },
        e.ticket && h("span", { class: "ticket" }, e.ticket),
        gist(e) || (d ? d.title : t("desk.nothing")),
      ),
      h("span", { class: "lead" }, lead),
      h("span", { class: "odds-cell" }, p > 0 && [bar(p)[0], h("span", null, odds(p))]),
      h(
        "span",
        { class: "when" },
        e.settledAt && group === "back" ? since(e.settledAt, now) : since(e.waitingSince || e.changedAt, now),
      ),
      h(
        "span",
        { class: "held soft" },
        e.assignedTo || (e.closing ? "" : t("desk.nobody")),
        e.noteCount ? h("span", { class: "unseen" }, t("desk.has_notes")) : null,
      ),
    ),
  );
}

/** When the next whole second of a wait is to be shown, or the next half minute. @param {any[]} entries
 * @param {number} now */
export const pause = (entries, now) =>
  entries.some((e) => e.waitingSince && now - Date.parse(e.waitingSince) < 2 * MINUTE) ? 1000 : 15000;
