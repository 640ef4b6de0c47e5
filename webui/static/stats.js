// @ts-check
/** What the last weeks brought, as small plots. */
import { h } from "./dom.js";
import { number, region, t } from "./text.js";
import { viewChecks, viewForetold, viewSeries } from "./trends.js";

/** @param {string} label @param {number} height @param {...any} kids */
const plot = (label, height, ...kids) =>
  h("svg", { class: "plot", viewBox: `0 0 300 ${height}`, role: "img", "aria-label": label }, ...kids);
/** @param {number} x @param {number} y @param {string} anchor @param {any} words */
const text = (x, y, anchor, words) => h("text", { x, y, "text-anchor": anchor }, String(words));

/** Words that fit a width of some thirty letters. @param {string} s */
const fitted = (s) => (s.length > 40 ? s.slice(0, 39) + "…" : s);

/**
 * One bar below the other, each with its words above it.
 * @param {string} label
 * @param {{title: string, count?: number}[]} rows
 */
function ranking(label, rows) {
  const most = Math.max(1, ...rows.map((r) => r.count || 0)),
    step = 34;
  const spoken = label + ": " + (rows.map((r) => `${r.title} ${number(r.count || 0)}`).join("; ") || t("stats.none"));
  return plot(
    spoken,
    Math.max(1, rows.length) * step + 4,
    rows.length === 0 && text(4, 20, "start", t("stats.none")),
    rows.map((r, i) => [
      text(4, 13 + i * step, "start", fitted(r.title)),
      h("rect", {
        class: "range",
        x: 4,
        y: 18 + i * step,
        width: Math.max(2, ((r.count || 0) / most) * 250),
        height: 11,
      }),
      text(10 + ((r.count || 0) / most) * 250, 28 + i * step, "start", number(r.count || 0)),
    ]),
  );
}

/**
 * Bars that stand side by side, with a part of each filled.
 * @param {string} label
 * @param {{name: string, all: number, part?: number, top: string}[]} bars
 * @param {string} axis
 */
function columns(label, bars, axis) {
  const most = Math.max(1, ...bars.map((b) => b.all)),
    wide = 284 / Math.max(1, bars.length),
    base = 130;
  return plot(
    label + ": " + bars.map((b) => `${b.name} ${b.top}`).join("; "),
    168,
    bars.map((b, i) => {
      const x = 8 + i * wide,
        tall = (b.all / most) * 105,
        part = ((b.part === undefined ? b.all : b.part) / most) * 105;
      return [
        b.part !== undefined &&
          b.all > 0 &&
          h("rect", { class: "of", x: x + 2, y: base - tall, width: wide - 4, height: tall }),
        part > 0 && h("rect", { class: "range", x: x + 2, y: base - part, width: wide - 4, height: part }),
        b.all > 0 && text(x + wide / 2, base - tall - 4, "middle", b.top),
        (bars.length < 8 || (bars.length - 1 - i) % Math.ceil(bars.length / 6) === 0) &&
          text(x + wide / 2, base + 15, "middle", b.name),
      ];
    }),
    h("path", { class: "axes", d: `M6 ${base}H294` }),
    text(150, 164, "middle", axis),
  );
}

/** @param {string} title @param {any} drawn @param {string} [note] */
const figure = (title, drawn, note) =>
  h("figure", null, h("figcaption", null, title), note && h("p", { class: "soft" }, note), drawn);

const OUTCOMES = ["settled", "workshop", "out_of_use", "not_reached", "other_appliance", "moderated"];

/** @param {any} s */
export function viewStatistics(s) {
  const weeks = s.weeks || [],
    total = (/** @type {"closed" | "settled"} */ what) =>
      weeks.reduce((/** @type {number} */ n, /** @type {any} */ w) => n + (w[what] || 0), 0);
  const closed = total("closed"),
    settled = total("settled");
  const day = (/** @type {string} */ at) =>
    new Date(at).toLocaleDateString(region(), { day: "numeric", month: "numeric", timeZone: "UTC" });
  const median = s.medianTime ? Math.max(1, Math.round(parseFloat(s.medianTime) / 60)) : 0;
  const outcomes = (s.outcomes || []).map((/** @type {any} */ o) => ({
    ...o,
    title: t("outcome.OUTCOME_" + (OUTCOMES.includes(o.id) ? o.id : "settled").toUpperCase()),
  }));
  return h(
    "div",
    null,
    h(
      "p",
      { class: "soft" },
      t("stats.all", { n: s.conversations || 0, weeks: weeks.length }),
      s.truncated ? " " + t("stats.truncated") : "",
    ),
    h(
      "div",
      { class: "plots" },
      viewSeries(
        "codes",
        t("stats.codes"),
        s.codes || [],
        weeks.map((/** @type {any} */ w) => day(w.beginsAt)),
      ),
      viewSeries(
        "settled",
        t("stats.settled"),
        s.settledCauses || [],
        weeks.map((/** @type {any} */ w) => day(w.beginsAt)),
      ),
      viewForetold(s.foretold || [], s.notForetold || 0),
      viewChecks(s.checksToRepair || []),
      figure(
        t("stats.share"),
        columns(
          t("stats.share"),
          weeks.map((/** @type {any} */ w) => ({
            name: day(w.beginsAt),
            all: w.closed || 0,
            part: w.settled || 0,
            top: `${w.settled || 0}/${w.closed || 0}`,
          })),
          t("stats.share_axis"),
        ),
        closed
          ? t("stats.share_all", { percent: t("percent", { n: Math.round((100 * settled) / closed) }), closed })
          : t("stats.none"),
      ),
      figure(
        t("stats.times"),
        columns(
          t("stats.times"),
          (s.times || []).map((/** @type {any} */ b) => ({
            name: b.upToMinutes ? "≤ " + b.upToMinutes : t("stats.longer"),
            all: b.count || 0,
            top: number(b.count || 0),
          })),
          t("stats.times_axis"),
        ),
        s.medianTime ? t("stats.median", { n: median }) : t("stats.none"),
      ),
      figure(t("stats.checks"), ranking(t("stats.checks"), s.checks || [])),
      figure(t("stats.outcomes"), ranking(t("stats.outcomes"), outcomes)),
    ),
  );
}
