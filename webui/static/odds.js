// @ts-check
/** How likely something is, in words that people use; and how much suspicion lies on each part of the heater. */
import { h } from "./dom.js";
import { percent } from "./state.js";
import { t } from "./text.js";

/** The parts that the picture shows, in the order in which current and fuel go through them. */
export const PARTS = [
  "battery",
  "fuse",
  "supply",
  "panel",
  "board",
  "fan",
  "glow",
  "sensor",
  "burner",
  "tank",
  "line",
  "pump",
  "intake",
  "exhaust",
  "duct",
];

/** Up to which probability each wording goes: "1 in n". @type {[number, number][]} */
const ONE_IN = [
  [0.075, 20],
  [0.145, 10],
  [0.175, 6],
  [0.225, 5],
  [0.285, 4],
  [0.395, 3],
  [0.575, 2],
];

/** A probability as people say it. @param {number} p */
export function odds(p) {
  if (p < 0.03) return t("odds.hardly");
  if (p > 0.965) return t("odds.almost");
  const one = ONE_IN.find(([below]) => p < below);
  return one ? t("odds.one_in", { n: one[1] }) : t("odds.tenths", { n: Math.round(p * 10) });
}

/** Ten cells, filled up to a probability. @param {number} p */
export const pips = (p) =>
  h("span", { class: "pips", "aria-hidden": "true", "--p": String(Math.max(1, Math.round(p * 100))) });

/** A probability by its bar and its number. @param {number} p */
export const bar = (p) => [pips(p), h("span", { class: "v" }, percent(p))];

/**
 * The suspicion on each part: the chance that one of its causes takes part in the failure. Most failures come of one
 * cause, so their chances add up.
 * @param {any[]} causes @returns {Map<string, number>}
 */
export function suspicion(causes) {
  const sums = new Map();
  for (const c of causes)
    if (PARTS.includes(c.part)) sums.set(c.part, Math.min(1, (sums.get(c.part) || 0) + (c.probability || 0)));
  return sums;
}

/**
 * The level of a suspicion: 0 bare, 1 dotted, 2 hatched, 3 filled. The part of the likeliest cause has 3.
 * @param {number} p
 * @param {boolean} leads
 */
export const level = (p, leads) => (leads || p >= 0.4 ? 3 : p >= 0.2 ? 2 : p >= 0.1 ? 1 : 0);

/** The levels of all parts. @param {any[]} causes @param {string[]} [leading] parts of those that lead together */
export function levels(causes, leading) {
  const all = suspicion(causes),
    leads = leading || (causes.length ? [causes[0].part] : []);
  return new Map(PARTS.map((part) => [part, causes.length ? level(all.get(part) || 0, leads.includes(part)) : 0]));
}
