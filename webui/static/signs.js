// @ts-check
/**
 * Dangers without the service: the rules that came with the page, held against what was told, and the words that warn,
 * looked for in what was typed. Nothing here touches the document, the network or a clock.
 *
 * The words are found as engine/words/alarm.go finds them; one table of sentences tests both.
 *
 * @typedef {import("./state.js").Danger} Danger @typedef {import("./state.js").Observation} Observation
 * @typedef {{observationId: string, states?: string[], not?: boolean, below?: number, above?: number}} Condition
 * @typedef {{danger: Danger, any: {all: Condition[]}[]}} Rule
 * @typedef {{observationId: string, state?: string, noState?: string, groups: string[], withinWords: number, doubt?:
 * string, asks?: boolean, question: string, choices?: {id: string, title: string}[]}} Alarm
 * @typedef {{rules?: Rule[], alarms?: Alarm[], grammar?: Record<string, string>}} Listed
 * @typedef {{alarm: Alarm, doubtful: boolean, words: string}} Heard
 * @typedef {{alarm: Alarm, groups: RegExp[], doubt: RegExp | null}} Sought
 * @typedef {Sought & {from: number, to: number, mine: Set<number>}} Hit
 * @typedef {{at: number, from: number, to: number, clause: number, sentence: number}} Word
 * @typedef {{line: string, words: Word[], question: Set<number>}} Spoken
 */

const LONGEST = 3,
  FAR_BACK = 2; // words of a negation; words that may stand between it and what it perhaps denies

/** @type {Rule[]} */ let rules = [];
/** @type {Sought[]} */ let sought = [];
/** @type {Record<string, RegExp | null>} */ let grammar = {};
/** @type {Map<string, Heard[]>} */ const before = new Map();

/** @param {string} [source] */
const expression = (source) => (source ? new RegExp(source, "y") : null);

/** Takes the rules and words of a language. @param {Listed | null} listed */
export function learn(listed) {
  if (!listed || !listed.rules) return;
  rules = listed.rules;
  sought = (listed.alarms || []).map((alarm) => ({
    alarm,
    groups: alarm.groups.map((g) => new RegExp(g, "y")),
    doubt: expression(alarm.doubt),
  }));
  grammar = {};
  for (const kind in listed.grammar || {}) grammar[kind] = expression((listed.grammar || {})[kind]);
  before.clear();
}

/** Whether there are rules. */
export const learnt = () => rules.length > 0;

/** What is asked about an observation where it is in doubt. @param {string} id @returns {Alarm | undefined} */
export function question(id) {
  const found = sought.find((a) => a.alarm.observationId === id);
  return found && found.alarm;
}

/** Whether a danger is one of those that the rules know. @param {string} id */
export const ruled = (id) => rules.some((r) => r.danger.id === id);

/** The dangers that stand by what was told, with what raised each.
 * @param {Map<string, Observation>} told @returns {Danger[]} */
export function standing(told) {
  const out = [];
  for (const { danger, any } of rules) {
    const raised = any.filter((t) => t.all.every((c) => holds(c, told.get(c.observationId))));
    const ids = new Set(raised.flatMap((t) => t.all.map((c) => c.observationId)));
    if (ids.size) out.push({ ...danger, triggerIds: [...ids] });
  }
  return out;
}

/** @param {Condition} c @param {Observation} [o] */
function holds(c, o) {
  if (!o || o.unknown) return false;
  if (c.below !== undefined && !(o.number !== undefined && o.number < c.below)) return false;
  if (c.above !== undefined && !(o.number !== undefined && o.number >= c.above)) return false;
  return !(c.states || []).length || (c.states || []).includes(o.state || "") !== !!c.not;
}

/** What in a text is a danger or may be one, what is certain first. @param {string} text @returns {Heard[]} */
export function heard(text) {
  const known = before.get(text);
  if (known) return known;
  const s = cut(text),
    hits = sought.flatMap((a) => find(s, a));
  const covered = new Set(hits.flatMap((h) => [...h.mine]));
  /** @type {Map<string, Heard>} */ const best = new Map();
  for (const h of hits) {
    const [denied, doubtful] = weigh(s, h, covered);
    const key = h.alarm.observationId + " " + (h.alarm.state || ""),
      so = best.get(key);
    if ((denied && !doubtful) || (so && (doubtful || !so.doubtful))) continue;
    best.set(key, { alarm: h.alarm, doubtful, words: text.slice(s.words[h.from].from, s.words[h.to - 1].to) });
  }
  const out = /** @type {Heard[]} */ ([]);
  for (const doubtful of [false, true])
    for (const h of best.values()) {
      const certain = out.some((o) => !o.doubtful && o.alarm.observationId === h.alarm.observationId);
      if (h.doubtful === doubtful && !certain) out.push(h);
    }
  if (before.size > 50) before.clear();
  before.set(text, out);
  return out;
}

const SPELT = /** @type {Record<string, string>} */ ({
  ä: "ae",
  ö: "oe",
  ü: "ue",
  ß: "ss",
  é: "e",
  è: "e",
  "\u0308": "e",
  "²": "2",
  μ: "µ",
  "'": "",
  "’": "",
  "‘": "",
  "`": "",
  "´": "",
});

/** Takes a text apart into folded words. @param {string} text @returns {Spoken} */
function cut(text) {
  const s = { line: "", words: /** @type {Word[]} */ ([]), question: new Set() },
    signs = [...text];
  let word = "",
    from = -1,
    at = 0,
    clause = 0,
    sentence = 0;
  const end = () => {
    if (word) {
      s.words.push({ at: s.line.length, from, to: at, clause, sentence });
      s.line += word + " ";
    }
    word = "";
    from = -1;
  };
  signs.forEach((sign, i) => {
    const low = sign.toLowerCase(),
      folded = low in SPELT ? SPELT[low] : low;
    if (/[\p{L}\p{Nd}\u0308]/u.test(sign)) {
      if (from < 0) from = at;
      word += folded;
    } else if (folded) {
      end();
      if (sign === "," || sign === "(" || sign === ")") clause++;
      else if ("?!;\n".includes(sign) || (sign === "." && !/[\p{L}\p{Nd}]/u.test(signs[i + 1] || ""))) {
        if (sign === "?") s.question.add(sentence);
        clause++;
        sentence++;
      }
    }
    at += sign.length;
  });
  end();
  return s;
}

/** How many words from i on an expression covers. @param {Spoken} s @param {RegExp | null} e @param {number} i */
function is(s, e, i) {
  if (!e || i < 0 || i >= s.words.length) return 0;
  e.lastIndex = s.words[i].at;
  const m = e.exec(s.line);
  return m ? m[0].split(" ").length - 1 : 0;
}

/** How many words an expression covers that end with word i.
 * @param {Spoken} s @param {RegExp | null} e @param {number} i */
function ending(s, e, i) {
  for (let n = 1; n <= LONGEST; n++) if (is(s, e, i - n + 1) === n) return n;
  return 0;
}

/** Where an alarm's groups stand close together. Of those that hold another one, only the other counts.
 * @param {Spoken} s @param {Sought} a @returns {Hit[]} */
function find(s, a) {
  const out = /** @type {Hit[]} */ ([]);
  for (let i = s.words.length - 1; i >= 0; i--) {
    const h = { ...a, from: i, to: i, mine: new Set() };
    const end = Math.min(i + a.alarm.withinWords, s.words.length),
      sentence = s.words[i].sentence;
    const whole = a.groups.every((group) => {
      for (let j = i; j < end && s.words[j].sentence === sentence; j++) {
        const n = is(s, group, j);
        for (let k = j; k < j + n; k++) h.mine.add(k);
        if (n) {
          h.to = Math.max(h.to, j + n);
          return true;
        }
      }
      return false;
    });
    const last = out[out.length - 1];
    if (whole && h.mine.has(i) && h.to - h.from <= a.alarm.withinWords && !(last && last.to <= h.to)) out.push(h);
  }
  return out.reverse();
}

/** Whether a hit is denied, and whether that or the hit itself is doubtful.
 * @param {Spoken} s @param {Hit} h @param {Set<number>} covered */
function weigh(s, h, covered) {
  const first = s.words[h.from],
    last = s.words[h.to - 1],
    g = grammar;
  const unsure = s.question.has(first.sentence) || doubted(s, h, g.doubt);
  let denials = 0,
    clearly = true;
  for (let i = h.from; i < h.to; i++) {
    const n = Math.max(is(s, g.negate, i), is(s, g.negateLast, i));
    if (!n || h.mine.has(i)) continue;
    const j = past(s, i + n),
      meant = j < h.to && h.mine.has(j);
    if (!meant && is(s, g.spent, j)) continue;
    denials++;
    clearly = clearly && meant;
  }
  const found = back(s, h, covered);
  if (found) {
    denials++;
    clearly = clearly && found === "clearly";
  }
  if (closes(s, h)) denials++;
  if (denials) return [true, unsure || !clearly || denials > 1];
  return [false, unsure || !!h.alarm.asks || first.clause !== last.clause || doubted(s, h, h.doubt)];
}

/** Whether words of doubt, other than the hit's own, stand in its sentence.
 * @param {Spoken} s @param {Hit} h @param {RegExp | null} doubt */
const doubted = (s, h, doubt) =>
  s.words.some((w, i) => {
    if (w.sentence !== s.words[h.from].sentence) return false;
    for (let k = i + is(s, doubt, i) - 1; k >= i; k--) if (!h.mine.has(k)) return true;
    return false;
  });

/** The next word from i on that is no filler. @param {Spoken} s @param {number} i */
function past(s, i) {
  for (let n; (n = is(s, grammar.fillers, i)) > 0; ) i += n;
  return i;
}

/** Looks back from a hit for a negation: over fillers, other hits in a list, and a few other words.
 * @param {Spoken} s @param {Hit} h @param {Set<number>} covered */
function back(s, h, covered) {
  const g = grammar;
  const denies = (/** @type {number} */ i) => Math.max(ending(s, g.negate, i), ending(s, g.negateLast, i));
  let between = 0,
    clearly = true;
  for (let i = h.from - 1; i >= 0; i--) {
    const list = is(s, g.lists, i) > 0,
      n = denies(i);
    if (s.words[i].sentence !== s.words[h.from].sentence || is(s, g.breaks, i)) return "";
    if (list || s.words[i].clause !== s.words[i + 1].clause) {
      if (!covered.has(i) && !(list && covered.has(i - 1))) return "";
      clearly = false;
    } else if (n) return clearly && !between && ending(s, g.negate, i) && !denies(i - n) ? "clearly" : "perhaps";
    else if (ending(s, g.spent, i)) return "";
    else if (!covered.has(i) && !is(s, g.fillers, i) && ++between > FAR_BACK) return "";
  }
  return "";
}

/** Whether a negation closes the hit's clause. @param {Spoken} s @param {Hit} h */
function closes(s, h) {
  const clause = s.words[h.to - 1].clause,
    i = past(s, h.to),
    n = is(s, grammar.negateLast, i);
  if (!n || s.words[i].clause !== clause) return false;
  const next = s.words[past(s, i + n)];
  return !next || next.clause !== clause;
}
