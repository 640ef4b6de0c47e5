// @ts-check
/**
 * Working without a signal: what the browser keeps for it, the worker that thinks, and what of a conversation stays on
 * this device. The page asks for this once it has nothing else to do.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {{state: () => State, dispatch: (event: Record<string, any>) => void, call: (what: string, request:
 * Record<string, any>) => Promise<any>, act: import("./question.js").Act, kept: () => string}} Page
 */
import { h } from "./dom.js";
import { all, forget as unkeep, keep } from "./keep.js";
import { heard } from "./state.js";
import { lang, reasons, t, why } from "./text.js";

const SERVICE = "/service.js",
  ENGINE = new URL("engine.js", import.meta.url).pathname;
const SLOW = 3000; // ms of dialling after which there is no signal to speak of

/** The only two scripts of ours that may start as workers. */
const trusted = /** @type {any} */ (globalThis).trustedTypes
  ? /** @type {any} */ (globalThis).trustedTypes.createPolicy("lightoff", {
      createScriptURL(/** @type {string} */ url) {
        if (url !== SERVICE && url !== ENGINE) throw new TypeError("no worker of ours: " + url);
        return url;
      },
    })
  : { createScriptURL: (/** @type {string} */ url) => url };

/** Whether megabytes may be fetched in the background. */
export function cheap() {
  const c = /** @type {any} */ (navigator).connection;
  return !c || !(c.saveData || c.type === "cellular" || (c.effectiveType && c.effectiveType !== "4g"));
}

/** @type {Page} */ let page;
/** @type {Record<string, string> | null} */ let parts = null;
/** @type {Promise<Worker> | null} */ let engine = null;
/** @type {Map<number, (reply: any) => void>} */ const waiting = new Map();
let asked = 0,
  thinking = false,
  again = false,
  fetching = false,
  dialling = 0,
  stored = "";

/** @param {Page} p */
export async function mount(p) {
  page = p;
  navigator.serviceWorker.addEventListener("controllerchange", look);
  await look();
  if (!page.state().works && cheap() && page.state().link === "open") await register();
  else update();
  after({ type: "mounted" });
}

/** Lets the browser fetch what it is to keep, where the service has it. */
async function register() {
  try {
    if (!(await fetch(SERVICE, { method: "HEAD" })).ok) return;
    const found = await navigator.serviceWorker.register(trusted.createScriptURL(SERVICE), { updateViaCache: "none" });
    const fresh = found.installing || found.waiting || found.active;
    if (fresh) fresh.addEventListener("statechange", look);
  } catch {
    /* at another visit, then */
  }
}

/** What was fetched anew takes over between conversations. */
async function update() {
  const found = await navigator.serviceWorker.getRegistration();
  if (!found) return;
  if (cheap() && page.state().link === "open") found.update().catch(() => {});
  const offer = () => !page.state().id && found.waiting && found.waiting.postMessage({ ask: "take over" });
  offer();
  found.addEventListener(
    "updatefound",
    () => found.installing && found.installing.addEventListener("statechange", offer),
  );
}

/** Asks whether all is kept, and only then says so. */
async function look() {
  const at = navigator.serviceWorker.controller;
  if (!at) return;
  tell();
  const { port1, port2 } = new MessageChannel();
  const answer = new Promise((done) => {
    port1.onmessage = (e) => done(e.data);
    setTimeout(() => done(null), 5000);
  });
  at.postMessage({ ask: "complete" }, [port2]);
  const said = await answer;
  if (!said) return;
  parts = said.parts;
  if (page.state().works !== said.complete) page.dispatch({ type: "works", works: said.complete });
}

/** Lets pages come in the language and the light that were chosen. */
function tell() {
  const at = navigator.serviceWorker.controller,
    night = document.documentElement.dataset.look === "night";
  if (at) at.postMessage({ settings: { lang, night } });
}

/** Starts the engine, once. @returns {Promise<Worker>} */
function start() {
  return (engine ||= new Promise((done, fail) => {
    const worker = new Worker(trusted.createScriptURL(ENGINE), { type: "module" });
    const give = () => {
      engine = null;
      worker.terminate();
      fail(new Error("no engine"));
    };
    worker.onerror = give;
    worker.onmessage = (e) => {
      if (e.data.broken) return give();
      if (e.data.ready) return done(worker);
      const answer = waiting.get(e.data.n);
      waiting.delete(e.data.n);
      if (answer) answer(JSON.parse(e.data.reply));
    };
    worker.postMessage({ parts });
  }));
}

/** @param {Record<string, any>} question @returns {Promise<any>} */
async function ask(question) {
  const worker = await start(),
    n = ++asked;
  return new Promise((done) => {
    waiting.set(n, done);
    worker.postMessage({ n, question: JSON.stringify(question) });
  });
}

/** A call that keeps nothing, answered here. @param {string} what @param {Record<string, any>} request */
export async function call(what, request) {
  if (!page.state().works) throw { code: "UNAVAILABLE", message: "no signal" };
  const { modelVersion, ...rest } = request;
  const reply = await ask({ do: what, locale: lang, request: rest });
  if (reply.error) throw reply.error;
  return reply.answer;
}

/** Whether this device has to think for itself. @param {State} s */
const alone = (s) =>
  s.works &&
  s.link !== "open" &&
  (s.here || s.link === "waiting" || (dialling > 0 && Date.now() - dialling >= SLOW)) &&
  !s.gone &&
  (s.id ? !!s.log : s.queue.length > 0);

/** Works out what was told comes to, as often as there is something new. */
async function think() {
  const s = page.state();
  if (!alone(s)) return;
  if (thinking) return void (again = true);
  thinking = true;
  try {
    const at = new Date().toISOString(),
      id = s.id || "here";
    const reply = await ask({
      do: "think",
      locale: lang,
      id: s.id,
      log: s.log || { openedAt: at },
      jobs: s.queue.map((j) => ({
        key: j.key,
        do: j.do,
        at: j.at || at,
        request: { ...j.request, id, clientKey: j.key, locale: lang },
      })),
    });
    if (reply.refused) await reasons();
    const now = page.state();
    // What joined the queue or came from the service meanwhile is thought over at once.
    again ||= now.queue !== s.queue || now.log !== s.log || now.id !== s.id;
    if (!reply.error && now.id === s.id && alone(now)) {
      const trouble = s.queue
        .filter((j) => reply.refused && reply.refused[j.key])
        .map((j) => t("not_saved", { what: j.label, why: why(reply.refused[j.key]) }))
        .join(" ");
      page.dispatch({
        type: "thought",
        conversation: { ...reply.conversation, id: s.id },
        joined: reply.joined || {},
        refused: Object.keys(reply.refused || {}),
        trouble,
      });
    }
  } catch {
    /* the page waits for the line, as it would without all this */
  }
  thinking = false;
  if (again) {
    again = false;
    think();
  }
}

/** Keeps the log beside the conversation for as long as there is a signal. */
async function follow() {
  const s = page.state(),
    known = s.log ? s.log.events.length : 0,
    c = heard(s);
  if (!s.works || !s.id || s.link !== "open" || fetching || !c || s.gone || Number(c.lastEvent) <= known) return;
  fetching = true;
  try {
    const log = await page.call("get_log", { id: s.id, afterEvent: known });
    page.dispatch({ type: "log", id: s.id, after: known, log });
  } catch {
    /* with the next change */
  }
  fetching = false;
}

/** What is to be done after an event. @param {Record<string, any>} event */
export function after(event) {
  const s = page.state();
  if (event.type === "link") {
    if (event.link === "connecting") {
      dialling = Date.now();
      setTimeout(think, SLOW + 50);
    }
    if (event.link === "open") {
      dialling = 0;
      if (!s.works && cheap()) register();
    }
  }
  if (s.works && s.link === "waiting" && !s.gone) start().catch(() => {}); // it will be needed
  if (["link", "queued", "works", "log", "mounted", "language"].includes(event.type)) think();
  if (["saved", "pushed", "opened", "works", "mounted", "caught"].includes(event.type)) follow();
  if (event.type === "language") tell();
  if (s.keeps === "keep") store(s);
}

/** Keeps a conversation beyond this window, since its owner has said so. @param {State} s */
function store(s) {
  const text = page.kept();
  if (text !== stored) keep(s.id, (stored = text));
}

/** @param {"keep" | "no"} keeps */
function choose(keeps) {
  page.dispatch({ type: "keeps", keeps });
}

/** Takes off this device what it holds of a conversation. @param {string} id */
function forget(id) {
  unkeep(id);
  stored = "";
  page.dispatch({ type: id === page.state().id ? "forgotten" : "rules" });
}

/** What there is to say and choose about the device. @param {State} s */
export function view(s) {
  const waits = s.queue.length,
    key = (/** @type {string} */ id, /** @type {() => void} */ onclick) =>
      h("button", { type: "button", class: "key", id: "away-" + id, onclick }, t("away." + id));
  const kept = !s.id && !waits && !s.conversation ? all() : [];
  return [
    s.notice && h("p", { class: "it note", key: "notice", role: "status" }, s.notice),
    s.clashes.map((c) =>
      h(
        "div",
        { class: "clash", key: "clash" + c.id, "data-clash": c.id },
        h("p", { class: "it" }, t("away.clash", { theirs: c.theirs, mine: c.mine })),
        h(
          "div",
          { class: "keys" },
          h(
            "button",
            { type: "button", class: "key", onclick: () => page.dispatch({ type: "clashed", id: c.id }) },
            t("away.mine"),
          ),
          h(
            "button",
            {
              type: "button",
              class: "key",
              onclick: () => {
                page.dispatch({ type: "clashed", id: c.id });
                page.act.queue("answer", { observations: [c.observation] }, c.theirs, [c.id]);
              },
            },
            t("away.theirs"),
          ),
        ),
      ),
    ),
    s.here &&
      waits > 0 &&
      !s.keeps &&
      h(
        "div",
        { class: "away", key: "ask" },
        h("p", { class: "it" }, t("away.ask")),
        h(
          "div",
          { class: "keys" },
          key("keep", () => choose("keep")),
          key("shared", () => choose("no")),
        ),
      ),
    s.keeps &&
      (waits > 0 || s.keeps === "keep") &&
      h(
        "div",
        { class: "away", key: "kept" },
        h("p", { class: "it" }, t(s.keeps === "keep" ? "away.is_kept" : "away.is_not")),
        h(
          "div",
          { class: "keys" },
          key("forget", () => forget(s.id)),
        ),
      ),
    kept.length > 0 &&
      h(
        "div",
        { class: "away", key: "others" },
        h("p", { class: "it" }, t("away.others")),
        kept.map((id) =>
          h(
            "div",
            { class: "keys", key: id },
            h("a", { class: "key", href: "/c/" + encodeURIComponent(id) }, t("away.go_on")),
            h("button", { type: "button", class: "key", onclick: () => forget(id) }, t("away.forget")),
          ),
        ),
      ),
  ];
}
