// @ts-check
/**
 * Plots as drawings that scale: lines over two axes, and bands on one. Their texts are told to who cannot see them as
 * one label.
 */

const DRAWN = "http://www.w3.org/2000/svg";

/** @param {string} tag @param {Record<string, any>} props @param {...any} kids @returns {any} */
function draw(tag, props, ...kids) {
  const node = document.createElementNS(DRAWN, tag);
  for (const name in props) node.setAttribute(name, String(props[name]));
  node.append(...kids.flat(2));
  return node;
}

/** Round steps, some four to an axis. @param {number} from @param {number} to */
function ticks(from, to) {
  const rough = (to - from) / 4,
    ten = 10 ** Math.floor(Math.log10(rough)),
    step = [1, 2, 5, 10].map((n) => n * ten).find((n) => n >= rough * 0.8) || rough;
  const all = [];
  for (let i = Math.ceil(from / step - 1e-9); i * step <= to + 1e-9; i++) all.push(i * step);
  return all;
}

/**
 * @typedef {{from: number, to: number, name: string}} Axis
 * @param {{label: string, x: Axis, y: Axis, write: (x: number, digits?: number) => string, lines: {points: number[][],
 * label: string, kind: string}[], bands?: {from: number, to: number, label?: string}[], levels: {at: number, label:
 * string}[], marks: {x: number, y: number, label: string}[]}} p
 */
export function plot(p) {
  const left = 30,
    right = 262,
    top = 20,
    bottom = 172;
  const px = (/** @type {number} */ x) => left + ((x - p.x.from) / (p.x.to - p.x.from)) * (right - left);
  const py = (/** @type {number} */ y) => bottom - ((y - p.y.from) / (p.y.to - p.y.from)) * (bottom - top);
  const text = (
    /** @type {number} */ x,
    /** @type {number} */ y,
    /** @type {string} */ anchor,
    /** @type {string} */ words,
    cls = "",
  ) => draw("text", { x, y, "text-anchor": anchor, class: cls }, words);
  // Labels of lines that end close together are moved apart, from below upwards.
  const ends = p.lines.map((l) => ({
    line: l,
    x: px(l.points[l.points.length - 1][0]),
    y: py(l.points[l.points.length - 1][1]),
  }));
  const side = ends.filter((e) => e.y > top + 1).sort((a, b) => b.y - a.y);
  let floor = Infinity;
  for (const e of side) floor = e.y = Math.min(e.y, floor - 12);
  return draw(
    "svg",
    { class: "plot", viewBox: "0 0 300 208", role: "img", "aria-label": p.label },
    (p.bands || []).map((b) =>
      draw("rect", {
        class: "band",
        x: left,
        y: py(b.to),
        width: right - left,
        height: Math.max(0, py(b.from) - py(b.to)),
      }),
    ),
    ticks(p.x.from, p.x.to).map((x) => [
      draw("path", { class: "grid", d: `M${px(x)} ${top}V${bottom}` }),
      text(px(x), bottom + 14, "middle", p.write(x)),
    ]),
    ticks(p.y.from, p.y.to).map((y) => [
      draw("path", { class: "grid", d: `M${left} ${py(y)}H${right}` }),
      text(left - 4, py(y) + 4, "end", p.write(y, 2)),
    ]),
    draw("path", { class: "axes", d: `M${left} ${top}V${bottom}H${right}` }),
    text((left + right) / 2, 204, "middle", p.x.name),
    text(2, 11, "start", p.y.name),
    p.lines.map((l) =>
      draw("path", {
        class: "line-" + l.kind,
        d: "M" + l.points.map(([x, y]) => `${px(x).toFixed(1)} ${py(y).toFixed(1)}`).join("L"),
      }),
    ),
    // A word goes above the end of its line, a size beside it.
    ends.map((e) =>
      side.includes(e)
        ? e.line.label.length > 4
          ? text(right - 3, e.y - 5, "end", e.line.label, e.line.kind)
          : text(right + 3, e.y + 4, "start", e.line.label, e.line.kind)
        : text(e.x, top - 4, "middle", e.line.label, e.line.kind),
    ),
    (p.bands || []).filter((b) => b.label).map((b) => text(right - 3, bottom - 5, "end", b.label || "")),
    p.levels.map((v) => [
      draw("path", { class: "level", d: `M${left} ${py(v.at)}H${right}` }),
      text(left + 5, py(v.at) - 4, "start", v.label),
    ]),
    p.marks.map((m) => [
      draw("circle", { class: "spot", cx: px(m.x), cy: py(m.y), r: 5 }),
      text(px(m.x) - 9, py(m.y) + 4, "end", m.label, "strong"),
    ]),
  );
}

/**
 * Bands of percentages, one below the other.
 * @param {{label: string, name: string, rows: {low: number, high: number, at: number, text: string}[]}} p
 */
export function bars(p) {
  const left = 6,
    right = 294,
    px = (/** @type {number} */ x) => left + (x / 100) * (right - left),
    bottom = 4 + 42 * p.rows.length;
  return draw(
    "svg",
    {
      class: "plot",
      viewBox: `0 0 300 ${bottom + 36}`,
      role: "img",
      "aria-label": p.label + " " + p.rows.map((r) => r.text).join("; "),
    },
    [0, 25, 50, 75, 100].map((x) => [
      draw("path", { class: "grid", d: `M${px(x)} 4V${bottom}` }),
      draw(
        "text",
        { x: px(x), y: bottom + 14, "text-anchor": x === 0 ? "start" : x === 100 ? "end" : "middle" },
        String(x),
      ),
    ]),
    draw("text", { x: 150, y: bottom + 30, "text-anchor": "middle" }, p.name),
    p.rows.map((r, i) => [
      draw("text", { x: left, y: 16 + 42 * i }, r.text),
      draw("rect", {
        class: "range",
        x: px(r.low),
        y: 22 + 42 * i,
        width: Math.max(3, px(r.high) - px(r.low)),
        height: 14,
      }),
      draw("path", { class: "axes", d: `M${px(r.at)} ${20 + 42 * i}v18` }),
    ]),
  );
}
