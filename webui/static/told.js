// @ts-check
/**
 * What is told, whether the service knows of it yet or not, and the dangers in it. A danger that was told stands here
 * until it is taken back here, whatever the network does.
 *
 * @typedef {import("./state.js").State} State @typedef {import("./state.js").Job} Job
 * @typedef {import("./state.js").Danger} Danger @typedef {import("./state.js").Observation} Observation
 * @typedef {{key: string, id: string, question: string, words: string, no: string, offer: string, choices: {id:
 * string, title: string}[]}} Ask
 */
import { heard, question, ruled, standing } from "./signs.js";
import { t } from "./text.js";

const WEIGHT = ["SEVERITY_CAUTION", "SEVERITY_NO_START", "SEVERITY_URGENT", "SEVERITY_LEAVE_NOW"];

/** What an entry tells, as far as the page can know. @param {Job} job @returns {Observation[]} */
function meant(job) {
  if (job.do !== "say") return job.request.observations || [];
  const sure = heard(job.request.text).filter((h) => !h.doubtful);
  return sure.map((h) => ({ id: h.alarm.observationId, state: h.alarm.state }));
}

/** @param {State} s */
const saved = (s) => (s.conversation && s.conversation.told) || [];

/**
 * All that was told, saved or not, and of what only waits here also the words. What was typed counts as far as its
 * words warn. @param {State} s
 * @returns {{all: Map<string, Observation>, words: Map<string, string>, waiting: Set<string>}}
 */
export function told(s) {
  const all = new Map(),
    words = new Map(),
    waiting = new Set();
  for (const x of saved(s)) if (!x.skipped) all.set(x.observation.id, x.observation);
  for (const job of [...s.refused, ...s.queue]) {
    for (const id of job.ids) {
      all.delete(id);
      words.delete(id);
      waiting.add(id);
    }
    for (const o of meant(job)) {
      waiting.add(o.id);
      all.set(o.id, o);
      words.set(o.id, job.do === "say" ? t("quoted", { text: job.label }) : job.label);
    }
  }
  return { all, words, waiting };
}

/**
 * The dangers that stand: those that the service names, and by the page's own rules those that what it has not heard of
 * yet brings out or, taken back, ends. The worst come first. @param {State} s @returns {Danger[]}
 */
export function dangers(s) {
  const c = s.conversation,
    assessed = c && c.assessment;
  const sent = /** @type {Danger[]} */ ((assessed && assessed.dangers) || []);
  if ((assessed || !c) && s.queue.length + s.refused.length === 0) return sent;
  const { all, waiting } = told(s),
    here = standing(all);
  const isNews = (/** @type {Danger} */ d) => (d.triggerIds || []).some((id) => waiting.has(id));
  const kept = sent.filter((d) => !ruled(d.id) || !isNews(d) || here.some((x) => x.id === d.id));
  const fresh = here.filter((d) => !kept.some((x) => x.id === d.id) && (!assessed || isNews(d)));
  return [...kept, ...fresh].sort((a, b) => WEIGHT.indexOf(b.severity) - WEIGHT.indexOf(a.severity));
}

/** Dangers that ask for the whole screen and that nobody at this page has acknowledged. @param {State} s */
export const newDangers = (s) =>
  dangers(s).filter((d) => d.severity !== "SEVERITY_CAUTION" && !s.acknowledged.includes(d.id));

/** Whether a danger is shown again to whoever looks again. @param {Danger} d */
const pressing = (d) => WEIGHT.indexOf(d.severity) >= WEIGHT.indexOf("SEVERITY_URGENT");

/** Notes what was read. Whoever has left for one danger needs no screen for a lesser one.
 * @param {State} s @param {string[]} ids */
export function acknowledge(s, ids) {
  const all = dangers(s),
    left = all.some((d) => ids.includes(d.id) && pressing(d));
  const lesser = left ? all.filter((d) => !pressing(d)).map((d) => d.id) : [];
  return { ...s, acknowledged: [...new Set([...s.acknowledged, ...ids, ...lesser])] };
}

/** Forgets, for who looks again, that the pressing ones were read. @param {State} s @returns {State} */
export function lookAgain(s) {
  const again = dangers(s)
    .filter(pressing)
    .map((d) => d.id);
  return { ...s, acknowledged: s.acknowledged.filter((id) => !again.includes(id)) };
}

/** Forgets what was read of dangers that stand no longer. @param {State} s @returns {State} */
export function tidy(s) {
  const now = dangers(s);
  const acknowledged = s.acknowledged.filter((id) => now.some((d) => d.id === id));
  return { ...s, acknowledged, out: s.out && now.some(pressing) };
}

/** Adds an entry. What the service never took is not there to be taken back.
 * @param {State} s @param {Job} job @returns {State} */
export function enqueue(s, job) {
  if (job.do !== "retract") return { ...s, queue: [...s.queue, job] };
  const about = (/** @type {Job} */ j) => j.do !== "retract" && meant(j).some((o) => job.ids.includes(o.id));
  const refused = s.refused.filter((j) => !about(j));
  const only =
    refused.length < s.refused.length &&
    !s.queue.some(about) &&
    !saved(s).some((x) => job.ids.includes(x.observation.id));
  return { ...s, refused, queue: only ? s.queue : [...s.queue, job] };
}

/** Gives up what the service will not take. What of it is a danger stays one here.
 * @param {State} s @param {(j: Job) => boolean} which @returns {State} */
export function refuse(s, which) {
  const isDanger = (/** @type {Job} */ j) => meant(j).some((o) => standing(new Map([[o.id, o]])).length > 0);
  const refused = [...s.refused, ...s.queue.filter((j) => which(j) && isDanger(j))];
  return { ...s, queue: s.queue.filter((j) => !which(j)), refused };
}

/** What was typed and may be a danger: to be asked before all else. @param {State} s @returns {Ask[]} */
export function asks(s) {
  const c = s.conversation,
    { all } = told(s),
    found = /** @type {Ask[]} */ ([]);
  for (const job of [...s.refused, ...s.queue])
    if (job.do === "say") {
      for (const { alarm: a, doubtful, words } of heard(job.request.text))
        if (doubtful) {
          const choices = a.choices && a.choices.length ? a.choices : [{ id: a.state || "", title: "" }];
          found.push({
            key: job.request.text + "|" + a.observationId,
            id: a.observationId,
            question: a.question,
            words,
            no: a.noState || "",
            offer: "",
            choices,
          });
        }
    }
  const next = ((c && c.next) || []).map((i) => i.id),
    sayings = (c && c.sayings) || [];
  for (const o of (c && c.offers) || []) {
    // What the service asks next needs no asking here.
    const r = o.suggestion.reading,
      others = o.suggestion.alternatives || [];
    const id = r.observation.id,
      about = question(id);
    if (!o.suggestion.danger || next.includes(id) || !about) continue;
    const said = sayings.find((x) => x.event === o.event),
      same = [r, ...others].filter((x) => x.observation.id === id);
    found.push({
      key: (said ? said.text : o.id) + "|" + id,
      id,
      question: about.question,
      words: r.words || "",
      offer: o.id,
      no: others.length ? "" : about.noState || "",
      choices: same.map((x) => ({ id: x.observation.state || "", title: others.length ? x.text || "" : "" })),
    });
  }
  const open = found.filter((a) => {
    const known = all.get(a.id);
    return !s.dismissed.includes(a.key) && !(known && a.choices.some((x) => x.id === known.state));
  });
  return open.filter((a, i) => open.findIndex((x) => x.id === a.id) === i);
}
