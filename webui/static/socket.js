// @ts-check
/**
 * The line to the service: dials, asks and is answered, and dials again with growing pauses when the line breaks.
 *
 * @typedef {{code: string, message: string, violations?: {field: string, description: string}[], reason?: string,
 * retryAfter?: number}} Fault
 * @typedef {{link: (link: string, at: number) => void, push: (conversation: any) => void, broken: (fault: Fault) =>
 * void, list?: (list: any) => void}} Ears
 */

const FIRST_PAUSE = 500,
  LONGEST_PAUSE = 30000,
  PATIENCE = 12000,
  STEADY = 10000; // ms

/** @param {string} message @returns {Fault} */
const cut = (message) => ({ code: "UNAVAILABLE", message });

/** Opens a line that keeps itself open. @param {string} url @param {Ears} ears */
export function dial(url, ears) {
  /** @type {WebSocket | null} */ let socket = null;
  /** @type {Map<number, {done: (reply: any) => void, fail: (fault: Fault) => void, timer: number}>} */ const waiting =
    new Map();
  let tries = 0,
    re = 0,
    timer = 0,
    watching = 0,
    since = Infinity;

  function connect() {
    clearTimeout(timer);
    timer = 0;
    ears.link("connecting", 0);
    const mine = (socket = new WebSocket(url));
    // A dial that hangs is worth no more than one that fails.
    const hung = setTimeout(() => mine === socket && lost(), PATIENCE);
    mine.onopen = () => {
      clearTimeout(hung);
      if (mine === socket) {
        since = Date.now();
        ears.link("open", 0);
      }
    };
    mine.onmessage = (m) => mine === socket && hear(JSON.parse(m.data));
    mine.onclose = () => {
      clearTimeout(hung);
      if (mine === socket) lost();
    };
  }

  function lost() {
    const old = socket;
    socket = null;
    // A line that held for a while is no reason for a long pause; one that opens and breaks again is.
    if (Date.now() - since > STEADY) tries = 0;
    since = Infinity;
    if (old) old.close();
    for (const w of waiting.values()) {
      clearTimeout(w.timer);
      w.fail(cut("the connection broke"));
    }
    waiting.clear();
    // Half the pause is chance, so that a service that comes back is not met by all at the same moment.
    const pause = Math.min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** tries++) * (0.5 + Math.random() / 2);
    timer = window.setTimeout(connect, pause);
    ears.link("waiting", Date.now() + pause);
  }

  /** @param {any} m */
  function hear(m) {
    if (m.push) return ears.push(m.push);
    if (m.list && ears.list) return ears.list(m.list);
    const w = waiting.get(m.re);
    if (!w) return m.error && m.re === watching ? ears.broken(m.error) : undefined;
    waiting.delete(m.re);
    clearTimeout(w.timer);
    if (m.error) return w.fail(m.error);
    w.done(m.reply);
  }

  /** @param {string} what @param {Record<string, any>} request @returns {Promise<any>} rejected with a Fault */
  function call(what, request) {
    return new Promise((done, fail) => {
      if (!socket || socket.readyState !== WebSocket.OPEN) return fail(cut("there is no connection"));
      const mine = ++re;
      if (what.startsWith("watch")) watching = mine;
      // A phone that has lost its signal is not told so; an answer that stays out is the sign of it.
      waiting.set(mine, { done, fail, timer: window.setTimeout(lost, PATIENCE) });
      socket.send(JSON.stringify({ re: mine, do: what, request }));
    });
  }

  /** Dials now if a pause is running. */
  const hurry = () => {
    if (timer) {
      tries = 0;
      connect();
    }
  };

  connect();
  return { call, hurry, drop: lost, isOpen: () => !!socket && socket.readyState === WebSocket.OPEN };
}
