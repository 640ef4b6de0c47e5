// @ts-check
/**
 * What the weeks brought, where looking beats reading: codes and causes week by week, whether causes are as likely
 * as was
 * said, and the checks it took to the right repair. Each plot has a sentence that says it, and a table.
 */
import { h } from "./dom.js";
import { number, t } from "./text.js";

const FEW = 20; // settled cases below which a plot would say more than is known
const Z = 1.645; // of a normal distribution: 90 of 100 lie within

/** @param {any[]} xs @returns {number} */
const sum = (xs) => xs.reduce((n, x) => n + (x || 0), 0);

/** @param {string} label @param {number} height @param {...any} kids */
const plot = (label, height, ...kids) =>
  h("svg", { class: "plot", viewBox: `0 0 420 ${height}`, role: "img", "aria-label": label }, ...kids);
/** @param {number} x @param {number} y @param {string} anchor @param {any} words */
const text = (x, y, anchor, words) => h("text", { x, y, "text-anchor": anchor }, String(words));

/** @param {string[]} head @param {any[][]} rows */
const table = (head, rows) =>
  h(
    "details",
    { class: "as-table" },
    h("summary", null, t("stats.table")),
    h(
      "div",
      { class: "wide" },
      h(
        "table",
        null,
        h(
          "thead",
          null,
          h(
            "tr",
            null,
            head.map((x) => h("th", { scope: "col" }, x)),
          ),
        ),
        h(
          "tbody",
          null,
          rows.map((r) =>
            h(
              "tr",
              null,
              r.map((x, i) => h(i === 0 ? "th" : "td", i === 0 ? { scope: "row" } : null, String(x))),
            ),
          ),
        ),
      ),
    ),
  );

/** @param {string} id @param {string} title @param {string} says @param {...any} kids */
const figure = (id, title, says, ...kids) =>
  h("figure", { key: id, id: "plot-" + id }, h("figcaption", null, title), h("p", { class: "soft" }, says), ...kids);

/** Words that fit a width of so many letters. @param {string} s @param {number} n */
const fitted = (s, n) => (s.length > n ? s.slice(0, n - 1) + "…" : s);

/**
 * One row for each, all on one scale, this week dark.
 * @param {string} id @param {string} title @param {any[]} rows @param {string[]} weeks
 */
export function viewSeries(id, title, rows, weeks) {
  if (rows.length === 0) return figure(id, title, t("stats.none"));
  const named = (/** @type {any} */ r) => (r.id === "none" ? t("stats.no_code") : r.title);
  const counts = (/** @type {any} */ r) => weeks.map((_, i) => (r.counts || [])[i] || 0),
    most = Math.max(1, ...rows.flatMap(counts));
  const left = 150,
    wide = (350 - left) / weeks.length,
    step = 34,
    last = weeks.length - 1;
  const top = rows.reduce((a, b) => (counts(b)[last] > counts(a)[last] ? b : a)),
    now = counts(top)[last];
  const says =
    now > 0
      ? t("stats.most_now", { title: named(top), n: number(now), all: number(sum(counts(top))) })
      : t("stats.none_now");
  return figure(
    id,
    title,
    says,
    plot(
      `${title}. ${says}`,
      rows.length * step + 18,
      rows.map((r, k) => {
        const base = (k + 1) * step - 6,
          all = counts(r);
        return [
          text(0, base - 4, "start", fitted(named(r), 24)),
          h("path", { class: "axes", d: `M${left} ${base}H350` }),
          all.map(
            (n, i) =>
              n > 0 &&
              h("rect", {
                class: i === last ? "range" : "before",
                x: left + i * wide + 1,
                y: base - (n / most) * 26,
                width: Math.max(1, wide - 2),
                height: (n / most) * 26,
              }),
          ),
          text(418, base - 4, "end", t("stats.now_of", { n: number(all[last]), all: number(sum(all)) })),
        ];
      }),
      text(left, rows.length * step + 12, "start", weeks[0]),
      text(350, rows.length * step + 12, "end", weeks[last]),
    ),
    table(
      [title, ...weeks],
      rows.map((r) => [named(r), ...counts(r).map((n) => number(n))]),
    ),
  );
}

/**
 * The range that a share lies in, with 90 in 100 unless told (Wilson's interval).
 * @param {number} right @param {number} n
 */
export function shareRange(right, n, z = Z) {
  const p = right / n,
    all = 1 + (z * z) / n,
    mid = (p + (z * z) / (2 * n)) / all;
  const half = (z / all) * Math.sqrt((p * (1 - p)) / n + (z * z) / (4 * n * n));
  return [Math.max(0, mid - half), Math.min(1, mid + half)];
}

/** Whether causes are as likely as was said. @param {any[]} bins @param {number} later cases not worked out yet */
export function viewForetold(bins, later) {
  const title = t("stats.foretold"),
    all = bins.map((b) => ({ said: b.said || 0, n: b.count || 0, right: b.right || 0 })),
    cases = sum(all.map((b) => b.n)),
    wait = later > 0 ? " " + t("stats.foretold_later", { n: number(later) }) : "";
  if (cases === 0) return figure("foretold", title, t("stats.none") + wait);
  const most = all.reduce((a, b) => (b.n > a.n ? b : a)),
    in100 = (/** @type {number} */ x) => number(Math.round(x * 100));
  const says =
    t("stats.foretold_says", { said: in100(most.said), right: number(most.right), n: number(most.n) }) + wait;
  const px = (/** @type {number} */ x) => 60 + x * 300,
    py = (/** @type {number} */ y) => 250 - y * 230;
  const drawn =
    cases < FEW
      ? h("p", { class: "soft" }, t("stats.few", { n: number(FEW) }))
      : plot(
          `${title}. ${says}`,
          296,
          [0, 0.5, 1].map((x) => [
            h("path", { class: "grid", d: `M${px(x)} ${py(0)}V${py(1)}M${px(0)} ${py(x)}H${px(1)}` }),
            text(px(x), 268, "middle", in100(x)),
            text(52, py(x) + 4, "end", in100(x)),
          ]),
          h("path", { class: "level", d: `M${px(0)} ${py(0)}L${px(1)} ${py(1)}` }),
          all.map((b) => {
            const [low, high] = shareRange(b.right, b.n);
            return [
              h("path", { class: "whisker", d: `M${px(b.said)} ${py(low)}V${py(high)}` }),
              h("circle", {
                class: "range",
                cx: px(b.said),
                cy: py(b.right / b.n),
                r: Math.max(2.5, 9 * Math.sqrt(b.n / most.n)),
              }),
            ];
          }),
          text(px(0.5), 290, "middle", t("stats.said")),
          text(60, 12, "start", t("stats.was")),
        );
  return figure(
    "foretold",
    title,
    says,
    drawn,
    table(
      [t("stats.said"), t("stats.was"), t("stats.cases")],
      all.map((b) => [in100(b.said), in100(b.right / b.n), number(b.n)]),
    ),
  );
}

/** How many checks it took to the right repair. @param {any[]} bars */
export function viewChecks(bars) {
  const title = t("stats.to_repair"),
    all = bars.map((b) => b.count || 0),
    cases = sum(all);
  if (cases === 0) return figure("to-repair", title, t("stats.none"));
  let before = 0;
  const middle = all.findIndex((n) => (before += n) * 2 >= cases),
    most = Math.max(...all),
    wide = 400 / all.length;
  const name = (/** @type {number} */ i) => number(i) + (i === all.length - 1 ? "+" : "");
  const says = t("stats.half", { n: name(middle) });
  return figure(
    "to-repair",
    title,
    says,
    plot(
      `${title}. ${says}`,
      190,
      all.map((n, i) => [
        n > 0 &&
          h("rect", {
            class: i === middle ? "range" : "before",
            x: 10 + i * wide + 3,
            y: 150 - (n / most) * 120,
            width: wide - 6,
            height: (n / most) * 120,
          }),
        n > 0 && text(10 + (i + 0.5) * wide, 144 - (n / most) * 120, "middle", number(n)),
        text(10 + (i + 0.5) * wide, 166, "middle", name(i)),
      ]),
      h("path", { class: "axes", d: "M10 150H410" }),
      text(210, 184, "middle", t("stats.checks_axis")),
    ),
    table(
      [t("stats.checks_axis"), t("stats.cases")],
      all.map((n, i) => [name(i), number(n)]),
    ),
  );
}
