// @ts-check
/** The page's own texts, in the language that its reader has chosen. Model texts come from the service. */

/** @type {Record<string, string>} */ let texts = {};
export let lang = "en";

/** The languages that there are. */
export const LANGUAGES = (document.documentElement.dataset.languages || "en").split(" ");

/** What a language is called by those who speak it. @param {string} l */
export function nameOf(l) {
  const name = new Intl.DisplayNames([l], { type: "language" }).of(l) || l;
  return name.charAt(0).toLocaleUpperCase(l) + name.slice(1);
}

/** @param {string} folder @param {string} wanted @returns {Promise<Record<string, string>>} */
async function fetched(folder, wanted) {
  const answer = await fetch(new URL(`${folder}/${wanted}.json`, import.meta.url), {
    credentials: "same-origin",
    mode: "cors",
  });
  if (!answer.ok) throw new Error("no texts in " + wanted);
  return answer.json();
}

let all = false;

/** Fetches the texts of a language and speaks it from then on. @param {string} wanted */
export async function speak(wanted) {
  const [first, more] = await Promise.all([fetched("text", wanted), all ? fetched("more", wanted) : {}]);
  texts = { ...first, ...more };
  lang = wanted;
}

/** The texts of what not every visitor opens: drawings, sums, the desk. They stay from then on. */
export async function speakMore() {
  if (all) return;
  const spoken = lang,
    more = await fetched("more", spoken);
  all = true;
  if (spoken === lang) texts = { ...texts, ...more };
  else await speak(lang);
}

/** A text with its gaps filled. @param {string} key @param {Record<string, string | number>} [gaps] */
export function t(key, gaps = {}) {
  const text = texts[key];
  if (text === undefined) throw new Error("there is no text " + key);
  return text.replace(/\{(\w+)\}/g, (_, name) => String(gaps[name]));
}

/**
 * Why something was refused, by its reason, as far as the words for it are there; what the service says of it is
 * English.
 * @param {{reason?: string}} fault
 */
export const why = (fault) => texts["refused." + fault.reason] || t("refused.other");

/** Waits for those words, but for no more than a moment: what is refused may be a danger. */
export const reasons = () => Promise.race([speakMore().catch(() => {}), new Promise((done) => setTimeout(done, 2000))]);

/** A text that counts. @param {string} key @param {number} n */
export const count = (key, n) => t(key + (n === 1 ? ".one" : ".other"), { n: number(n) });

/** The reader's region, as far as it writes the language that the page speaks: its numbers, dates and times. */
export const region = () => (navigator.languages || []).find((l) => l.split("-")[0] === lang) || lang;

/** A number as it is written where the reader lives. @param {number} n @param {number} [digits] after the point,
 * exactly */
export const number = (n, digits) =>
  new Intl.NumberFormat(region(), {
    useGrouping: false,
    minimumFractionDigits: digits || 0,
    maximumFractionDigits: digits === undefined ? 6 : digits,
  })
    .format(n)
    .replace("-", "−");

/** Writes the texts into the places that the document keeps for them. */
export function relabel() {
  document.documentElement.lang = lang;
  for (const place of /** @type {any} */ (document.querySelectorAll("[data-t]")))
    place.textContent = t(place.dataset.t);
  for (const name of ["aria-label", "content", "placeholder"])
    for (const place of document.querySelectorAll(`[data-t-${name}]`))
      place.setAttribute(name, t(place.getAttribute("data-t-" + name) || ""));
  for (const each of LANGUAGES) {
    const link = document.getElementById("lang-" + each);
    if (link) each === lang ? link.setAttribute("aria-current", "true") : link.removeAttribute("aria-current");
  }
}
