// @ts-check
/** In a frame of another site: takes its colours if they can be read, and tells it, and nobody else, how tall the card is. */

/** What a site may set, by the palette's names that it stands for. Colours of danger are not for sale. @type {Record<string, string[]>} */
const PARTS = { ground: ["soot", "lamp"], paper: ["paper", "well"], ink: ["ink", "ink-soft"], accent: ["ember", "ember-ink"] };
const SURFACES = ["soot", "lamp", "paper", "well"], INKS = ["ink", "ink-soft", "ember-ink", "frost-ink", "danger-ink"], MARKS = ["edge", "ember", "frost", "danger", "focus"];

/** Relative luminance by WCAG 2.2. @param {string} colour as #rrggbb */
function luminance(colour) {
  return [0.2126, 0.7152, 0.0722].reduce((sum, weight, i) => {
    const c = parseInt(colour.slice(1 + 2 * i, 3 + 2 * i), 16) / 255;
    return sum + weight * (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
  }, 0);
}

/** @param {string} a @param {string} b */
const contrast = (a, b) => (Math.max(luminance(a), luminance(b)) + 0.05) / (Math.min(luminance(a), luminance(b)) + 0.05);

/** The palette that a site's colours make of ours, or null where anything in it would be hard to see. @param {URLSearchParams} query @param {Record<string, string>} ours */
export function palette(query, ours) {
  const out = { ...ours };
  let any = false;
  for (const part in PARTS) {
    const colour = (query.get(part) || "").toLowerCase();
    if (!/^#[0-9a-f]{6}$/.test(colour)) continue;
    any = true;
    for (const name of PARTS[part]) out[name] = colour;
  }
  if (!any) return null;
  out["on-ember"] = contrast("#ffffff", out.ember) >= contrast("#000000", out.ember) ? "#ffffff" : "#000000";
  const seen = SURFACES.every((s) => INKS.every((i) => contrast(out[i], out[s]) >= 4.5) && MARKS.every((m) => contrast(out[m], out[s]) >= 3));
  return seen && contrast(out["on-ember"], out.ember) >= 4.5 ? out : null;
}

/** @param {URLSearchParams} query */
export function fit(query) {
  const root = document.documentElement, host = query.get("host") || "", style = getComputedStyle(root), ours = /** @type {Record<string, string>} */ ({});
  for (const name of [...SURFACES, ...INKS, ...MARKS, "on-ember"]) ours[name] = style.getPropertyValue("--" + name).trim();
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
  if (screen) new MutationObserver(() => screen.hasAttribute("open") && tell({ danger: true })).observe(screen, { attributes: true, attributeFilter: ["open"] });
}
