// @ts-check
/**
 * What the page knows, and how each event changes it. Nothing here touches the document, the network or a clock: state
 * and event in, new state out; only the texts' language is found elsewhere. Shapes named in capitals are those of the
 * service's messages, field for field.
 *
 * @typedef {{id: string, state?: string, number?: number, unknown?: boolean}} Observation
 * @typedef {{id: string, title: string, question?: string, how?: string, normal?: string, why?: string, tool?: string,
 * minutes?: number, states?: {id: string, title: string}[], unit?: string, minimum?: number, maximum?: number,
 * cautions?: string[], cautionPhases?: string[], needsStart?: boolean, opensFuel?: boolean, opensBurner?: boolean,
 * touchesHot?: boolean, safetyCard?: boolean, setup?: boolean}} Info
 * @typedef {{observation: Observation, skipped?: boolean, text: string, words?: string, event: string, info?: Info}}
 * Told
 * @typedef {{id: string, title: string, text?: string, severity: string, callEmergency?: boolean, triggerIds?:
 * string[], steps?: string[], wayOut?: string[], liftedBy?: {observations?: Observation[]}[]}} Danger
 * @typedef {{id: string, lastEvent?: string, locale?: string, tools?: string[], told?: Told[], assessment?:
 * Record<string, any>, next?: Info[], nextReason?: string, sayings?: {text: string, readings?: {observation:
 * Observation, words: string, text: string}[], unclear?: string[], event: string}[], openedAt?: string, assignedTo?:
 * string, closed?: boolean, eurosPerMinute?: number, willingness?: string, nextRepairId?: string, recovery?:
 * Record<string, any>, settlement?: Record<string, any>, suggestions?: {event: string, observation: Observation, text:
 * string, by?: string, causeId?: string, checkId?: string}[], hidden?: boolean, offers?: {id: string, event: string,
 * suggestion: {reading: Read, alternatives?: Read[], danger?: boolean}}[]}} Conversation
 * @typedef {{observation: Observation, words?: string, text?: string}} Read
 * @typedef {{key: string, do: string, request: Record<string, any>, label: string, ids: string[], at?: string}} Job
 * @typedef {{openedAt?: string, modelVersion?: string, events: {time: string, event: string}[]}} Log
 * @typedef {{id: string, conversation: Conversation | null, queue: Job[], link: string, retryAt: number, refused:
 * Job[], dismissed: string[], out: boolean, acknowledged: string[], asking: string, editing: string, catalogue:
 * {observations: Info[], tools: {id: string, title: string}[]} | null, explained: Record<string, any>, allCauses:
 * boolean, view: string, switchedOn: number, how: string, seek: string, shifts: Record<number, any>, trouble: string,
 * badReading: {id: string, text: string} | null, gone: boolean, sheet: Record<string, any> | null, terms:
 * Record<string, any> | null, drawings: Record<string, any> | null, form: string, shared: string, hand: Record<string,
 * any> | null, handed: Record<string, any>, log: Log | null, joined: Record<string, any>, here: boolean, base:
 * Conversation | null, works: boolean, caught: boolean, keeps: string, notice: string, clashes: {id: string, theirs:
 * string, mine: string, observation: Observation}[], away: Record<string, any> | null, mend: Record<string, any> |
 * null, instruments: Record<string, any> | null, measuring: string, measured: any, lit: string, watched:
 * Record<string, {state?: string, text?: string, at?: number}>, found: Record<string, any>}} State
 */
import { acknowledge, enqueue, lookAgain, refuse, tidy } from "./told.js";
import { count, number, t } from "./text.js";

/** The signs that "none of these" denies. A quiet alarm proves nothing, so the alarm is not among them. */
export const DENIED = [
  "people_unwell",
  "smell_exhaust_inside",
  "smell_fuel",
  "smell_gas",
  "smell_burning",
  "flames_or_smoke_inside",
];

/** Errors after which the same request may succeed; after any other it is given up, and that is said. */
const PASSING = ["UNAVAILABLE", "DEADLINE_EXCEEDED", "ABORTED", "RESOURCE_EXHAUSTED", "CANCELLED"];

/** @param {string} id @param {Partial<State>} kept what this window knew when it was left @returns {State} */
export function begin(id, kept) {
  return {
    id,
    queue: kept.queue || [],
    refused: kept.refused || [],
    dismissed: kept.dismissed || [],
    out: false,
    log: kept.log || null,
    joined: {},
    here: false,
    base: null,
    works: false,
    caught: false,
    keeps: kept.keeps || "",
    notice: "",
    clashes: [],
    away: null,
    conversation: null,
    link: "connecting",
    retryAt: 0,
    acknowledged: kept.acknowledged || [],
    asking: "",
    editing: "",
    catalogue: null,
    explained: {},
    allCauses: false,
    trouble: "",
    badReading: null,
    gone: false,
    view: "",
    switchedOn: 0,
    how: "",
    seek: "",
    shifts: {},
    sheet: null,
    terms: null,
    drawings: null,
    form: "markdown",
    shared: "",
    hand: null,
    handed: {},
    mend: null,
    watched: {},
    found: {},
    instruments: null,
    measuring: "",
    measured: null,
    lit: "",
  };
}

/** What asking again may mend. A full card stays full. @param {{code: string, reason?: string}} error */
export const passing = (error) => PASSING.includes(error.code) && error.reason !== "CONVERSATION_FULL";

/** @param {State} s @param {Record<string, any>} e @returns {State} */
export function step(s, e) {
  const changed = change(s, e),
    after =
      changed.here && changed.base && changed.link === "open" && changed.queue.length === 0 ? home(changed) : changed;
  const same = after.queue === s.queue && after.refused === s.refused && after.conversation === s.conversation;
  return same ? after : tidy(after);
}

/** @param {State} s @param {Record<string, any>} e @returns {State} */
function change(s, e) {
  switch (e.type) {
    case "link":
      return { ...s, link: e.link, retryAt: e.at || 0, caught: s.caught && e.link === "open" };
    case "queued":
      return enqueue({ ...s, trouble: "", badReading: null, ...settle(s, e.job) }, e.job);
    case "opened":
      return take({ ...s, id: e.conversation.id }, e.conversation);
    case "saved":
      return take(sent(s, e.key, e.conversation), e.conversation);
    case "refused":
      return refuse({ ...s, trouble: e.trouble }, (j) => j.key === e.key);
    case "dismissed":
      return { ...s, dismissed: [...s.dismissed, e.key] };
    case "out":
      return { ...s, out: true };
    case "pushed":
      return take(s, e.conversation);
    case "gone":
      return refuse({ ...s, gone: true, view: "", conversation: e.blank ? null : s.conversation }, () => true);
    case "acknowledged":
      return acknowledge(s, e.ids);
    case "looked_again":
      return lookAgain(s);
    case "rules":
      return { ...s };
    case "works":
      return { ...s, works: e.works };
    case "away":
      return { ...s, away: e.away };
    case "log":
      return { ...s, log: e.id === s.id ? logged(s.log, e.after, e.log) : s.log };
    case "thought":
      return thought(s, e);
    case "caught":
      return take({ ...s, caught: true, clashes: clashes(s, e.conversation) }, e.conversation);
    case "clashed":
      return { ...s, clashes: s.clashes.filter((c) => c.id !== e.id) };
    case "keeps":
      return { ...s, keeps: e.keeps };
    case "forgotten":
      return {
        ...begin("", {}),
        link: s.link,
        retryAt: s.retryAt,
        works: s.works,
        away: s.away,
        sheet: s.sheet,
        hand: s.hand,
        mend: s.mend,
        terms: s.terms,
        drawings: s.drawings,
        catalogue: s.catalogue,
      };
    case "language":
      return { ...s, catalogue: null, explained: {}, badReading: null, shared: "", trouble: "" };
    // Whatever is opened takes the place of the conversation; a tap brings it back.
    case "view":
      return { ...s, view: e.view };
    case "how":
      return { ...s, how: s.how === e.id ? "" : e.id };
    case "seek":
      return { ...s, seek: e.text };
    case "sheet":
      return { ...s, sheet: e.sheet };
    case "terms":
      return { ...s, terms: e.terms };
    case "drawings":
      return { ...s, drawings: e.drawings };
    case "hand":
      return { ...s, hand: e.hand };
    case "handed":
      return { ...s, handed: { ...s.handed, ...e.handed } };
    case "mend":
      return { ...s, mend: e.mend };
    case "measuring":
      return { ...s, instruments: e.instruments || s.instruments, measuring: e.id, measured: null };
    case "measured":
      return { ...s, measured: e.reading };
    case "lit":
      return { ...s, lit: e.lit };
    case "switched_on":
      return { ...s, switchedOn: e.at };
    case "watched":
      return { ...s, watched: { ...s.watched, [e.id]: { ...e.value, at: e.at } } };
    case "found":
      return { ...s, found: { ...s.found, ...e.found } };
    case "form":
      return { ...s, form: e.form, shared: "" };
    case "shared":
      return { ...s, shared: e.text };
    case "asking":
      return { ...s, asking: e.id, editing: "", view: "", how: "", seek: "", badReading: null };
    case "editing":
      return { ...s, editing: e.id, view: "", seek: "", badReading: null };
    case "catalogue":
      return { ...s, catalogue: { observations: e.observations || [], tools: e.tools || [] } };
    case "explained":
      return { ...s, explained: { ...s.explained, [e.id]: { event: e.event, ...e.reply } } };
    case "all_causes":
      return { ...s, allCauses: !s.allCauses };
    case "bad_reading":
      return { ...s, badReading: { id: e.id, text: e.text } };
    default:
      throw new Error("no such event: " + e.type);
  }
}

/**
 * What an answer on its way settles: the question asked instead, or the line being changed.
 * @param {State} s
 * @param {Job} job
 */
function settle(s, job) {
  return {
    view: ["mend", "report_start"].includes(job.do) ? "" : s.view,
    how: "",
    seek: "",
    asking: job.ids.includes(s.asking) ? "" : s.asking,
    editing: job.ids.includes(s.editing) ? "" : s.editing,
    ...(["report_start", "mend"].includes(job.do) ? { watched: {}, switchedOn: 0 } : {}),
    found: job.do === "settle" ? {} : s.found,
  };
}

/** What the service last said; what is shown may be this device's own. @param {State} s */
export const heard = (s) => (s.here ? s.base : s.conversation);

/** Takes a conversation unless a newer one is known. @param {State} s @param {Conversation} c @returns {State} */
function take(s, c) {
  if (!c || c.id !== s.id) return s;
  const known = heard(s);
  if (known && (eventOf(c) < eventOf(known) || (eventOf(c) === eventOf(known) && pending(c) && !pending(known))))
    return s;
  return s.here ? { ...s, base: c } : show(s, pending(c) && known ? meanwhile(c, known) : c, c);
}

/**
 * Shows a conversation, whoever has thought it over.
 * @param {State} s
 * @param {Conversation} shown
 * @param {Conversation} c
 * @returns {State}
 */
function show(s, shown, c) {
  const told = (c.told || []).map((t) => t.observation.id),
    shift = shifted(s.conversation, c);
  return {
    ...s,
    conversation: shown,
    shifts: shift ? { ...s.shifts, [eventOf(c)]: shift } : s.shifts,
    asking: told.includes(s.asking) ? "" : s.asking,
    editing: told.includes(s.editing) ? s.editing : "",
  };
}

/** Shows what this device has made of the log and the queue by itself. @param {State} s @param {Record<string, any>}
 * e */
function thought(s, e) {
  if (s.link === "open") return s;
  const left = e.refused.length ? refuse({ ...s, trouble: e.trouble }, (j) => e.refused.includes(j.key)) : s;
  return { ...show(left, e.conversation, e.conversation), here: true, base: heard(s), joined: e.joined };
}

/** Shows the service's word again once it has heard all, and says where that differs. @param {State} s @returns
 * {State} */
function home(s) {
  const was = /** @type {any} */ (s.conversation),
    now = /** @type {any} */ (s.base),
    lead = (/** @type {any} */ c) => ((c.assessment && c.assessment.causes) || [])[0];
  const version = (/** @type {any} */ c) => c.assessment && c.assessment.modelVersion,
    a = lead(was),
    b = lead(now);
  const notice =
    !pending(now) && version(was) !== version(now) && a && b
      ? t("away.changed", {
          now: b.title,
          p: percent(b.probability || 0),
          was: a.title,
          q: percent(a.probability || 0),
        })
      : s.notice;
  return { ...s, here: false, base: null, joined: {}, notice, conversation: pending(now) ? meanwhile(now, was) : now };
}

/** @param {Log | null} known @param {number} after @param {Log} log @returns {Log | null} */
function logged(known, after, log) {
  const before = known ? known.events : [];
  return after > before.length ? known : { ...log, events: [...before.slice(0, after), ...(log.events || [])] };
}

/** @param {{event: string}} l */
const numberOf = (l) => Number(JSON.parse(l.event).number);

/**
 * What is known once the service has kept an entry. Where it has given it another number than this device had, offers
 * of it have other names.
 * @param {State} s @param {string} key @param {Conversation} c @returns {State}
 */
function sent(s, key, c) {
  const rest = s.queue.filter((j) => j.key !== key),
    mine = s.joined[key];
  if (!mine || !c) return { ...s, queue: rest };
  const was = numberOf(mine) + ".",
    is = eventOf(c) + ".";
  const named = (/** @type {string} */ id) => (id.startsWith(was) ? is + id.slice(was.length) : id);
  const queue =
    was === is
      ? rest
      : rest.map((j) =>
          j.request.dismissedOfferIds
            ? { ...j, request: { ...j.request, dismissedOfferIds: j.request.dismissedOfferIds.map(named) } }
            : j,
        );
  const log = s.log || { openedAt: c.openedAt, events: [] };
  const next = was === is && log.events.length === numberOf(mine) - 1;
  return { ...s, queue, log: next ? { ...log, events: [...log.events, mine] } : s.log };
}

/**
 * What somebody else has told meanwhile of what waits here, and told differently.
 * @param {State} s
 * @param {Conversation} c
 */
function clashes(s, c) {
  const since = s.log ? s.log.events.length : 0,
    same = (/** @type {any} */ a, /** @type {any} */ b) =>
      a.state === b.state && a.number === b.number && !a.unknown === !b.unknown;
  return s.queue.flatMap((j) =>
    (j.do === "answer" ? j.request.observations || [] : []).flatMap((/** @type {Observation} */ o) => {
      const theirs = (c.told || []).find(
        (x) => x.observation.id === o.id && Number(x.event) > since && !x.skipped && !same(x.observation, o),
      );
      return theirs ? [{ id: o.id, theirs: theirs.text, mine: j.label, observation: theirs.observation }] : [];
    }),
  );
}

/** Entries that what is shown does not hold yet. @param {State} s */
const open = (s) => s.queue.filter((j) => !(j.key in s.joined));

/** Whether the assessment is still to come; the dangers are there. @param {Conversation | null} c */
export const pending = (c) => !!(c && c.assessment && c.assessment.pending);

/**
 * What is shown until it comes: what was known before, with the dangers of now.
 * @param {Conversation} c
 * @param {Conversation} known
 * @returns {Conversation}
 */
function meanwhile(c, known) {
  const now = /** @type {any} */ (c.assessment);
  return {
    ...c,
    next: c.next || known.next,
    nextReason: c.next ? c.nextReason : known.nextReason,
    recovery: c.recovery && known.recovery,
    assessment: { ...known.assessment, ...now, dangers: now.dangers || [] },
  };
}

/**
 * What the latest answer has changed most: a cause that leads now or led before, with its probabilities.
 * @param {Conversation | null} before @param {Conversation} now @returns {{title: string, from: number, to: number} |
 * null}
 */
function shifted(before, now) {
  const was = new Map(
    ((before && before.assessment && before.assessment.causes) || []).map((/** @type {any} */ c) => [
      c.id,
      c.probability || 0,
    ]),
  );
  // An assessment may come after its event; what was shown until then were the probabilities from before.
  const since = eventOf(now) - eventOf(before);
  if (
    !before ||
    pending(now) ||
    !(since === 1 || (since === 0 && pending(before))) ||
    (before.locale || "en") !== (now.locale || "en")
  )
    return null;
  let most = null,
    size = 0.015;
  for (const c of (now.assessment && now.assessment.causes) || []) {
    const from = was.get(c.id),
      to = c.probability || 0;
    if (from === undefined || Math.max(from, to) < 0.1 || Math.abs(to - from) <= size) continue;
    size = Math.abs(to - from);
    most = { title: c.title, from, to };
  }
  return most;
}

/** @param {Conversation | null} c */
export const eventOf = (c) => Number((c && c.lastEvent) || 0);

/** Ids answered, whether saved yet or not. @param {State} s */
function answered(s) {
  const ids = new Set(((s.conversation && s.conversation.told) || []).map((t) => t.observation.id));
  for (const job of open(s)) for (const id of job.ids) job.do === "retract" ? ids.delete(id) : ids.add(id);
  return ids;
}

/** What is being asked now. @param {State} s @returns {{kind: string, info?: Info, advised?: boolean, offer?: any}} */
export function current(s) {
  const c = s.conversation,
    done = answered(s);
  if (s.gone) return { kind: "gone" };
  if (s.id && !c) return { kind: "loading" };
  const due = c ? (c.next || []).filter((i) => i.safetyCard).map((i) => i.id) : DENIED;
  if (DENIED.some((id) => due.includes(id) && !done.has(id))) return { kind: "safety" };
  // What was asked before may not be what is asked after; a question must not change under the finger.
  if (pending(c)) return { kind: "waiting" };
  const offer =
    c &&
    (c.offers || []).find(
      (o) =>
        !o.suggestion.danger &&
        !done.has(o.suggestion.reading.observation.id) &&
        !s.queue.some((j) => (j.request.dismissedOfferIds || []).includes(o.id)),
    );
  if (offer) return { kind: "offer", offer };
  const chosen = s.asking && info(s, s.asking);
  if (chosen) return { kind: "ask", info: chosen, advised: false };
  // What is asked after a repair was answered before it, so only what waits to be sent counts as answered.
  const sending = new Set(open(s).flatMap((j) => j.ids)),
    mended = c && c.recovery;
  const next = c && (c.next || []).find((i) => (mended ? !sending.has(i.id) : !done.has(i.id)));
  if (next && next.safetyCard) return { kind: "ask", info: next, advised: true };
  const said = s.queue.some((j) => j.do === "say") || (c && (c.sayings || []).length > 0);
  const first = [...done].every((id) => DENIED.includes(id) || id === "co_alarm");
  if (first && !said) return { kind: "opening", info: info(s, "fault_code") };
  if (open(s).some((j) => j.do !== "set_tools")) return { kind: "waiting" };
  if (!next && c && c.nextRepairId) return { kind: "repair" };
  if (!next && mended && mended.stage === "STAGE_START") return { kind: "start" };
  if (!next && mended && mended.stage === "STAGE_WELL") return { kind: "well" };
  return next ? { kind: "ask", info: next, advised: true } : { kind: "done" };
}

/**
 * All that is known of an observation, if it is known yet.
 * @param {State} s
 * @param {string} id
 * @returns {Info | undefined}
 */
export function info(s, id) {
  const c = s.conversation;
  return (
    ((c && c.next) || []).find((i) => i.id === id) ||
    (s.catalogue ? s.catalogue.observations.find((i) => i.id === id) : undefined) ||
    ((c && c.told) || []).map((t) => t.info).find((i) => i && i.id === id)
  );
}

/**
 * @typedef {{id: string, told?: Told, job?: Job, text: string, words?: string, unsaved: boolean, note?: string,
 * parts?: any[]}} Line
 */

/**
 * The lines of the card: what was told, and what waits to be saved. The answers of the safety card make one line.
 * @param {State} s @returns {Line[]}
 */
export function lines(s) {
  const c = s.conversation,
    unsaved = new Map();
  for (const job of s.queue) for (const id of job.ids) unsaved.set(id, job);
  const notes = new Map(
    ((c && c.assessment && c.assessment.unused) || []).map((/** @type {any} */ u) => [u.id, u.reason]),
  );
  const safety = /** @type {Line[]} */ ([]),
    others = /** @type {Line[]} */ ([]);
  for (const told of (c && c.told) || []) {
    const id = told.observation.id,
      waiting = unsaved.has(id);
    const line = {
      id,
      told,
      job: unsaved.get(id),
      text: waiting && !(unsaved.get(id).key in s.joined) ? unsaved.get(id).label : told.text,
      words: told.words,
      unsaved: waiting,
      note: notes.get(id),
    };
    (isSafety(id, told.info) ? safety : others).push(line);
    unsaved.delete(id);
  }
  for (const [id, job] of unsaved) {
    const line = { id, job, text: job.label, unsaved: true };
    isSafety(id) ? safety.push(line) : others.push(line);
  }
  for (const job of open(s))
    if (job.do === "say") others.push({ id: job.key, text: t("quoted", { text: job.label }), unsaved: true });
  if (safety.length === 0) return others;
  const signs = safety.filter(alarming);
  const text = signs.length ? t("safety.line", { text: signs.map((l) => l.text).join("; ") }) : t("safety.line_none");
  return [{ id: "safety_card", text, unsaved: safety.some((l) => l.unsaved), parts: safety }, ...others];
}

/** @param {string} id @param {Info} [i] */
const isSafety = (id, i) => (i ? !!i.safetyCard : DENIED.includes(id) || id === "co_alarm");

/** Whether a line of the safety card, saved or not, is a sign of danger. @param {Line} l */
function alarming(l) {
  const waits = l.job && (l.job.request.observations || []).find((/** @type {Observation} */ x) => x.id === l.id);
  const o = l.job ? waits : l.told && l.told.observation;
  return !!o && ["yes", "sounding"].includes(o.state || "");
}

/** What the last free text came to, with the readings that still stand. @param {State} s */
export function lastSaying(s) {
  const c = s.conversation,
    saying = c && (c.sayings || [])[(c.sayings || []).length - 1];
  if (!c || !saying) return null;
  const standing = (saying.readings || []).filter((r) =>
    (c.told || []).some((t) => t.observation.id === r.observation.id && t.words === r.words),
  );
  return {
    text: saying.text,
    event: saying.event,
    readings: standing,
    understood: (saying.readings || []).length,
    unclear: saying.unclear || [],
  };
}

/**
 * What to explain a cause by: observations, the repairs done, and what was told before the latest of them.
 * @param {State} s
 */
export function evidence(s) {
  const told = ((s.conversation && s.conversation.told) || []).filter((t) => !t.skipped),
    repairs = (s.conversation && s.conversation.recovery && s.conversation.recovery.repairs) || [];
  const latest = Math.max(0, ...repairs.map((/** @type {any} */ r) => Number(r.event)));
  return {
    observations: told.map((t) => t.observation),
    mendedIds: repairs.map((/** @type {any} */ r) => r.repairId),
    beforeIds: told.filter((t) => Number(t.event) < latest).map((t) => t.observation.id),
  };
}

/**
 * Reads a number as it is written on paper, with point or comma. A text that could mean two numbers is refused.
 * @param {string} text @param {Info} i @returns {{number?: number, problem?: string}}
 */
export function readNumber(text, i) {
  const clean = text.trim().replace(/[−–]/g, "-").replace(/\s+/g, "");
  const bare = i.unit && clean.toLowerCase().endsWith(i.unit.toLowerCase()) ? clean.slice(0, -i.unit.length) : clean;
  if (!/^[+-]?(\d+([.,]\d+)?|[.,]\d+)$/.test(bare))
    return { problem: t("reading.bad", { example: number(i.unit === "V" ? 12.4 : 3.5) }) };
  const value = Number(bare.replace(",", "."));
  const low = i.minimum || 0,
    high = i.maximum || 0;
  if (high > low && (value < low || value > high))
    return {
      problem: t("reading.range", { low: number(low), high: number(high), unit: i.unit || "" }).replace(" .", "."),
    };
  return { number: value };
}

/** A probability as a percentage that never claims certainty. @param {number} p */
export const percent = (p) =>
  p < 0.01 ? t("percent.under") : p > 0.99 ? t("percent.over") : t("percent", { n: Math.round(p * 100) });

/** How strongly something speaks, in words. @param {number} bits */
export function strength(bits) {
  const size = Math.abs(bits),
    grade = size >= 3 ? 4 : size >= 1.5 ? 3 : size >= 0.5 ? 2 : 1;
  return t("bits." + (bits > 0 ? grade : -grade));
}

/** What the connection and the queue come to, in one sentence. @param {State} s @param {number} now in ms */
export function standing(s, now) {
  const n = s.queue.length;
  if (s.trouble) return s.trouble;
  if (s.link === "open") return t(n ? "link.saving" : s.conversation ? "link.saved" : "link.connected");
  if (s.here) return t("link.here", { kept: n ? t("kept.phone", { unsaved: count("unsaved", n) }) : t("kept.all") });
  const kept = n ? t("kept.here", { unsaved: count("unsaved", n) }) : t(s.conversation ? "kept.all" : "kept.none");
  if (s.link === "connecting") return t("link.connecting", { kept });
  return s.retryAt > now + 1500
    ? t("link.away_in", { kept, seconds: Math.round((s.retryAt - now) / 1000) })
    : t("link.away_now", { kept });
}
