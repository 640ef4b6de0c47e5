// @ts-check
/**
 * In a frame of another site: takes its colours if they can be read, and tells it, and nobody else, how tall the card
 * is.
 */

import { h, patch } from "./dom.js";
import { t } from "./text.js";

/** What a site may set. Colours of danger are not for sale. */
const PARTS = ["ground", "paper", "ink", "accent"];
const SURFACES = ["ground", "paper", "wash"],
  INKS = ["ink", "soft", "accent", "danger"],
  MARKS = ["edge", "accent", "danger"];
const PANES = ["pan", "lift"],
  LIGHTS = ["pan-ink", "pan-soft", "lit"],
  ORNAMENT = ["line", "pan-edge", "pan-dim", "on-accent"];

/** Relative luminance by WCAG 2.2. @param {string} colour as #rrggbb */
function luminance(colour) {
  return [0.2126, 0.7152, 0.0722].reduce((sum, weight, i) => {
    const c = parseInt(colour.slice(1 + 2 * i, 3 + 2 * i), 16) / 255;
    return sum + weight * (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
  }, 0);
}

/** @param {string} a @param {string} b */
const contrast = (a, b) =>
  (Math.max(luminance(a), luminance(b)) + 0.05) / (Math.min(luminance(a), luminance(b)) + 0.05);

/** So much of one colour in another. @param {string} a @param {number} share @param {string} b */
const mix = (a, share, b) =>
  "#" +
  [1, 3, 5]
    .map((i) =>
      Math.round(share * parseInt(a.slice(i, i + 2), 16) + (1 - share) * parseInt(b.slice(i, i + 2), 16))
        .toString(16)
        .padStart(2, "0"),
    )
    .join("");

/**
 * The palette that a site's colours make of ours, or null where anything in it would be hard to see. All but the four
 * is mixed from them.
 * @param {URLSearchParams} query @param {Record<string, string>} ours
 */
export function palette(query, ours) {
  const out = { ...ours };
  let any = false;
  for (const part of PARTS) {
    const colour = (query.get(part) || "").toLowerCase();
    if (!/^#[0-9a-f]{6}$/.test(colour)) continue;
    any = true;
    out[part] = colour;
  }
  if (!any) return null;
  Object.assign(out, {
    soft: mix(out.ink, 0.76, out.paper),
    line: mix(out.ink, 0.18, out.paper),
    edge: mix(out.ink, 0.62, out.paper),
    wash: mix(out.accent, 0.1, out.paper),
  });
  out["on-accent"] = contrast("#ffffff", out.accent) >= contrast("#000000", out.accent) ? "#ffffff" : "#000000";
  // The instrument is dark whatever the site: its ink turned over or, where that is light, its ground darkened.
  const pan = (out.pan = luminance(out.ink) < 0.1 ? out.ink : mix(out.ground, 0.5, "#000000"));
  Object.assign(out, {
    lift: mix("#ffffff", 0.08, pan),
    "pan-ink": mix("#ffffff", 0.94, pan),
    "pan-soft": mix("#ffffff", 0.7, pan),
    "pan-dim": mix("#ffffff", 0.42, pan),
    "pan-edge": mix("#ffffff", 0.18, pan),
  });
  out.lit = out.accent;
  for (let share = 0.9; share > 0 && contrast(out.lit, out.lift) < 5; share -= 0.1)
    out.lit = mix(out.accent, share, "#ffffff");
  const seen =
    SURFACES.every(
      (x) => INKS.every((i) => contrast(out[i], out[x]) >= 4.5) && MARKS.every((m) => contrast(out[m], out[x]) >= 3),
    ) && PANES.every((x) => LIGHTS.every((i) => contrast(out[i], out[x]) >= 4.5));
  return seen && contrast(out["on-accent"], out.accent) >= 4.5 ? out : null;
}

/** @param {URLSearchParams} query */
export function fit(query) {
  const root = document.documentElement,
    host = query.get("host") || "",
    style = getComputedStyle(root),
    ours = /** @type {Record<string, string>} */ ({});
  for (const name of [...SURFACES, ...INKS, ...MARKS, ...PANES, ...LIGHTS, ...ORNAMENT])
    ours[name] = style.getPropertyValue("--" + name).trim();
  const theirs = root.dataset.look ? null : palette(query, ours);
  if (theirs) for (const name in theirs) root.style.setProperty("--" + name, theirs[name]);
  root.dataset.themed = theirs ? "yes" : "no";
  /** Only a parent of that origin gets it. @param {Record<string, any>} what */
  const tell = (what) => parent.postMessage({ lightoff: what }, host);
  let last = 0;
  new ResizeObserver(() => {
    const height = Math.ceil(document.body.getBoundingClientRect().height);
    if (height !== last) tell({ height: (last = height) });
  }).observe(document.body);
  const screen = document.getElementById("danger");
  if (screen)
    new MutationObserver(() => tell({ danger: screen.hasAttribute("open") })).observe(screen, {
      attributes: true,
      attributeFilter: ["open"],
    });
}

/**
 * What stands below: how much was told, and the key that opens the card in place or folds it to its summary again. A
 * danger shows either way.
 * @param {import("./state.js").State} s @param {boolean} looks
 */
export function viewFoot(s, looks) {
  const root = document.documentElement,
    told = ((s.conversation && s.conversation.told) || []).length;
  let foot = document.getElementById("foot");
  if (!foot) {
    foot = document.createElement("div");
    foot.id = "foot";
    /** @type {any} */ (document.getElementById("page")).append(foot);
  }
  if (s.view) root.dataset.open = "";
  const open = root.dataset.open !== undefined;
  const flip = () => {
    open ? delete root.dataset.open : (root.dataset.open = "");
    viewFoot(s, looks);
  };
  patch(foot, [
    h("p", { key: "told" }, told ? t("frame.told", { n: told }) : "", looks ? " " + t("frame.looks") : ""),
    h(
      "button",
      { key: "open", type: "button", id: "frame-open", "aria-expanded": String(open), onclick: flip },
      t(open ? "frame.close" : looks ? "frame.suggest" : told ? "frame.open" : "frame.start"),
    ),
  ]);
}
