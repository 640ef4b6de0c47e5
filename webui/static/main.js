// @ts-check
/** Joins the parts: events change the state, the state is shown, what waits is sent. */
import { onScreen, viewAsks, viewBanner, viewCare, viewDanger } from "./danger.js";
import { patch } from "./dom.js";
import { kept as stayed } from "./keep.js";
import { judged, showPicture, viewFace } from "./face.js";
import { INSTRUMENTS, viewQuestion } from "./question.js";
import { learn, learnt } from "./signs.js";
import { dial } from "./socket.js";
import { viewThread } from "./thread.js";
import { lang, number, reasons, relabel, speak, speakMore, t, why } from "./text.js";
import {
  DENIED,
  begin,
  current,
  eventOf,
  evidence,
  heard,
  info,
  passing,
  pending,
  readNumber,
  standing,
  step,
} from "./state.js";
import { asks, dangers, told } from "./told.js";

const BEAT = 45000,
  PAUSE = 3000,
  THOUGHT = 1500,
  IDLE = 2500; // ms

/** @param {string} id @returns {any} */
const el = (id) => document.getElementById(id);
/** For whom the page is: an owner, one in a frame of another site, one who looks on, or a desk. */
const place = document.documentElement.dataset.place || "",
  query = new URLSearchParams(location.search),
  framed = place === "framed";
const looks = place === "look" || (framed && query.has("look"));
const byAddress = framed
  ? query.get("look") || recallFramed()
  : decodeURIComponent((location.pathname.match(/^(?:\/desk)?\/(?:c|look)\/(.+)/) || ["", ""])[1]);
/** What a frame of another site has beside the page: folded to a summary until it is opened. @type {any} */
let frame = null;
let state = begin(byAddress, recall(byAddress));
let sending = false,
  notBefore = 0,
  moveFocus = false,
  asked = "",
  fetching = false;

/** In a frame the address leads nowhere, so the tab remembers the card. Browsers may forbid even that. */
function recallFramed() {
  try {
    return sessionStorage.getItem("lightoff-framed") || "";
  } catch {
    return "";
  }
}
/** @param {string} name @param {string} value */
function keep(name, value) {
  try {
    value ? sessionStorage.setItem(name, value) : sessionStorage.removeItem(name);
  } catch {
    /* then it goes with the page */
  }
}

const random = () =>
  Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

/**
 * What this window knew when the page was last left.
 * @param {string} id
 * @returns {Partial<import("./state.js").State>}
 */
function recall(id) {
  try {
    return JSON.parse(sessionStorage.getItem("lightoff/" + id) || stayed(id) || "{}");
  } catch {
    return {};
  }
}

const KEPT = /** @type {const} */ (["queue", "refused", "dismissed", "acknowledged", "log", "keeps"]);
/** Who comes back meets again what to leave for; all else has been read. */
function kept() {
  const left = step(state, { type: "looked_again" });
  return JSON.stringify(Object.fromEntries(KEPT.map((name) => [name, left[name]])));
}

/** @param {Record<string, any>} event */
function dispatch(event) {
  const before = state;
  state = step(state, event);
  if (state.id !== before.id) {
    framed
      ? keep("lightoff-framed", state.id)
      : history.replaceState(null, "", state.id ? "/c/" + encodeURIComponent(state.id) : "/");
    keep("lightoff/" + before.id, "");
  }
  if (framed && state.gone) keep("lightoff-framed", "");
  if (state.id !== before.id || KEPT.some((name) => state[name] !== before[name])) keep("lightoff/" + state.id, kept());
  render();
  send();
  if (state.away) state.away.after(event);
  if (event.type === "saved" || event.type === "pushed" || (event.type === "link" && event.link === "open")) refresh();
}

/** Explanations that are folded open follow the conversation. */
function refresh() {
  for (const fold of document.querySelectorAll("[data-cause]"))
    if (fold.querySelector("details[open]")) act.explain(fold.getAttribute("data-cause"));
}

/** Sends what waits, one after the other; the key of an entry makes a second sending harmless. */
async function send() {
  if (sending || Date.now() < notBefore || !line.isOpen() || state.gone || state.queue.length === 0) return;
  sending = true;
  const job = state.queue[0];
  try {
    // What others have told meanwhile is looked at before anything goes out.
    if (state.here && state.id && !state.caught) {
      const now = await line.call("get", { id: state.id, locale: lang });
      sending = false;
      return dispatch({ type: "caught", conversation: now.conversation });
    }
    if (!state.id) {
      dispatch({
        type: "opened",
        conversation: (await line.call("open", { locale: lang, clientKey: "open-" + job.key })).conversation,
      });
      watch();
    }
    const reply = await line.call(job.do, { ...job.request, id: state.id, clientKey: job.key, locale: lang });
    sending = false;
    dispatch({ type: "saved", key: job.key, conversation: reply.conversation });
  } catch (fault) {
    sending = false;
    failed(/** @type {any} */ (fault), job);
  }
}

/** @param {import("./socket.js").Fault} fault @param {import("./state.js").Job} job */
function failed(fault, job) {
  if (!fault.code) throw fault;
  if (fault.retryAfter) {
    notBefore = Date.now() + fault.retryAfter * 1000 * (1 + Math.random() / 2);
    // by chance, so that not all come at once
    return void setTimeout(send, notBefore - Date.now() + 1);
  }
  if (passing(fault)) return line.isOpen() ? line.drop() : undefined;
  if (fault.code === "NOT_FOUND") return gone(false);
  sending = true; // else the same would be sent again
  reasons().then(() => {
    sending = false;
    dispatch({ type: "refused", key: job.key, trouble: t("not_saved", { what: job.label, why: why(fault) }) });
  });
}

/**
 * Follows the conversation from the last event known here; also the beat that finds out whether the line still
 * carries.
 */
function watch() {
  if (!state.id || !line.isOpen()) return;
  const which = looks ? { key: state.id } : { id: state.id };
  line
    .call(looks ? "watch_look" : "watch", {
      ...which,
      afterEvent: eventOf(heard(state)) - (pending(heard(state)) ? 1 : 0),
      locale: lang,
    })
    .catch(broken);
  // What is known may be in a language chosen earlier.
  const known = state.conversation;
  if (known && (known.locale || "en") !== lang)
    line
      .call(looks ? "look" : "get", { ...which, locale: lang })
      .then((reply) => dispatch({ type: "pushed", conversation: reply.conversation }), broken);
}

/** Where the key is to change whose answer was lost, the same change asked for again tells the new one. */
function gone(/** @type {boolean} */ blank) {
  let changing = null;
  try {
    changing = sessionStorage.getItem("lightoff-change/" + state.id);
  } catch {
    /* nothing is kept */
  }
  if (changing) act.changeKey();
  else dispatch({ type: "gone", blank });
}

/** @param {import("./socket.js").Fault} fault */
function broken(fault) {
  // Who only looks on sees nothing more of a card that was hidden or closed to them.
  if (fault.code === "NOT_FOUND" || fault.code === "INVALID_ARGUMENT") gone(looks);
  else if (line.isOpen()) line.drop();
}

/**
 * A module that comes later, with its texts and styles.
 * @template T
 * @param {Promise<T>} module
 * @returns {Promise<T>}
 */
const more = (module) => Promise.all([module, speakMore(), dressMore()]).then(([m]) => m);

/** The styles of what comes later. @type {Promise<void> | null} */
let dressed = null;
const dressMore = () =>
  (dressed ||= new Promise((done, fail) => {
    const style = document.createElement("link");
    style.rel = "stylesheet";
    style.href = new URL("later.css", import.meta.url).href;
    style.onload = () => done();
    style.onerror = () => {
      style.remove();
      dressed = null;
      fail(new Error("no styles"));
    };
    document.head.append(style);
  }));

/**
 * Asks what changes nothing: the service, or this device where it thinks for itself.
 * @param {string} what
 * @param {Record<string, any>} request
 */
const ask = (what, request) => (state.here && state.away ? state.away.call(what, request) : line.call(what, request));

async function catalogue() {
  if (state.catalogue || fetching || !(line.isOpen() || state.here)) return;
  fetching = true;
  try {
    const locale = lang,
      reply = await ask("list_observations", { locale });
    if (locale === lang) dispatch({ type: "catalogue", ...reply });
  } catch {
    /* asked for again when next needed */
  }
  fetching = false;
}

/** @param {string} what @param {Record<string, any>} request @param {string} label @param {string[]} ids */
function queue(what, request, label, ids) {
  const key = random();
  // A second tap while the first is on its way is the same answer, unless that was taken back in between.
  const last = state.queue.filter((j) => j.ids.join() === ids.join()).pop();
  if (what === "answer" && state.link === "open" && last && last.do === what && ids.length) return;
  moveFocus = ["answer", "retract", "mend", "report_start"].includes(what);
  dispatch({ type: "queued", job: { key, do: what, request, label, ids, at: new Date().toISOString() } });
}

/** @type {import("./question.js").Act} */
const act = {
  answer: (i, value, words) =>
    queue(
      "answer",
      { observations: [{ id: i.id, ...value }] },
      i.title || i.question ? `${i.title || i.question}: ${words}` : words,
      [i.id],
    ),
  dismiss: (offer, reading) =>
    queue("answer", { dismissedOfferIds: [offer.id] }, t("offer.not", { text: reading.text }), []),
  skip: (i) => queue("answer", { skippedIds: [i.id] }, `${i.title || i.question}: ${t("line.skipped")}`, [i.id]),
  retract: (id, text) => queue("retract", { observationId: id }, t("line.was_back", { text }), [id]),
  reading(i, text) {
    const read = readNumber(text, i);
    if (read.number === undefined) return dispatch({ type: "bad_reading", id: i.id, text: read.problem });
    act.answer(i, { number: read.number }, `${number(read.number)} ${i.unit || ""}`.trim());
  },
  tool: (id, held) =>
    queue(
      "set_tools",
      { tools: held.includes(id) ? held.filter((/** @type {string} */ t) => t !== id) : [...held, id] },
      t("tools.label"),
      [],
    ),
  edit(id) {
    dispatch({ type: "editing", id });
    const head = document.querySelector("#question .ask");
    if (head instanceof HTMLElement) head.focus();
  },
  /** Opens what stands beside the conversation, or closes it. */
  async view(view) {
    if (view === "menu") {
      act.catalogue();
      if (state.conversation) act.hand();
    }
    if (view) await act.sheet();
    dispatch({ type: "view", view });
    const to = view ? el("sheet") : el("safety").hidden ? document.querySelector("#question .ask") : el("safety-title");
    if (view) el("sheet").firstElementChild.scrollTop = 0;
    if (to) to.focus();
  },
  sheet: async () => {
    if (!state.sheet)
      try {
        dispatch({ type: "sheet", sheet: await more(import("./sheet.js")) });
      } catch {
        /* asked for again */
      }
  },
  how(id) {
    act.draw();
    dispatch({ type: "how", id });
  },
  seek: (text) => dispatch({ type: "seek", text }),
  night() {
    const root = document.documentElement;
    root.dataset.look = root.dataset.look === "night" ? "" : "night";
    remember("look", root.dataset.look || "");
    render();
  },
  language: (wanted) => change(wanted),
  async comeBack(code) {
    try {
      location.href = "/c/" + encodeURIComponent((await line.call("come_back", { code })).id);
    } catch (fault) {
      act.handed({
        come: t(
          /** @type {any} */ (fault).code === "RESOURCE_EXHAUSTED"
            ? "code.wait"
            : passing(/** @type {any} */ (fault))
              ? "code.later"
              : "code.none",
        ),
      });
    }
  },
  async ask(id) {
    moveFocus = true;
    if (id && !info(state, id)) await catalogue();
    dispatch({ type: "asking", id });
  },
  allCauses: () => dispatch({ type: "all_causes" }),
  acknowledge: (ids) => {
    moveFocus = true;
    asked = "";
    dispatch({ type: "acknowledged", ids });
  },
  out: () => dispatch({ type: "out" }),
  /**
   * What was meant by something typed; no state: none of it.
   * @param {import("./told.js").Ask} a
   * @param {string} answered
   */
  means(a, answered) {
    const given = answered || a.no,
      words = (a.choices.find((c) => c.id === answered) || { title: "" }).title;
    const label = `${a.question} ${words || t(answered ? "doubt.yes" : "doubt.no")}`;
    dispatch({ type: "dismissed", key: a.key });
    if (given) queue("answer", { observations: [{ id: a.id, state: given }] }, label, [a.id]);
    else if (a.offer) queue("answer", { dismissedOfferIds: [a.offer] }, label, []);
  },
  catalogue,
  /** The drawings come when the first is to be looked at. */
  draw: async () => {
    if (!state.drawings)
      try {
        dispatch({ type: "drawings", drawings: await more(import("./drawings.js")) });
      } catch {
        /* the words do without */
      }
  },
  /** So do the words that a question needs explained. */
  explainTerms: async () => {
    if (!state.terms)
      try {
        dispatch({ type: "terms", terms: await more(import("./terms.js")) });
      } catch {
        /* asked for again */
      }
  },
  /** So does what follows a repair. */
  mend: async () => {
    if (!state.mend)
      try {
        dispatch({ type: "mend", mend: await more(import("./mend.js")) });
      } catch {
        /* asked for again */
      }
  },
  /** Measures with the phone; no id: no longer. What comes too late for another question is dropped. */
  async measure(id) {
    if (!id && !state.measuring) return;
    try {
      const instruments = state.instruments || (await more(import("./instruments.js")));
      instruments.stop();
      dispatch({ type: "measuring", id, instruments });
      if (id)
        await instruments.measure(
          INSTRUMENTS[id],
          (/** @type {any} */ reading) => state.measuring === id && act.measured(reading),
        );
    } catch {
      /* typing does without */
    }
  },
  measured: (reading) => dispatch({ type: "measured", reading }),
  light: async () => {
    try {
      dispatch({ type: "lit", lit: await (await more(import("./instruments.js"))).light() });
    } catch {
      /* asked for again */
    }
  },
  done: (p) => queue("mend", { repairId: p.repairId }, t("mend.did", { title: p.title }), []),
  watched: (id, value) => dispatch({ type: "watched", id, value, at: Date.now() }),
  switchedOn: () => dispatch({ type: "switched_on", at: Date.now() }),
  found: (found) => dispatch({ type: "found", found }),
  unread: (id, text) => dispatch({ type: "bad_reading", id, text }),
  /** Handing over comes when it is wanted, too. */
  hand: async () => {
    if (!state.hand)
      try {
        dispatch({ type: "hand", hand: await more(import("./hand.js")) });
      } catch {
        /* asked for again */
      }
  },
  handed: (handed) => dispatch({ type: "handed", handed }),
  /** Gives the card another key. What it follows from is kept until the answer is there. */
  async changeKey() {
    const id = state.id,
      at = "lightoff-change/" + id;
    let secret = random();
    try {
      secret = sessionStorage.getItem(at) || secret;
    } catch {
      /* then it goes with the page */
    }
    keep(at, secret);
    try {
      const now = (await line.call("change_key", { id, clientKey: secret })).id;
      keep(at, "");
      if (framed) {
        keep("lightoff-framed", now);
        location.reload();
      } else location.replace("/c/" + encodeURIComponent(now));
    } catch (fault) {
      const none = /** @type {any} */ (fault).code === "NOT_FOUND";
      if (none) keep(at, "");
      none ? dispatch({ type: "gone" }) : act.handed({ said: t("hand.failed") });
    }
  },
  pushed: (conversation) => dispatch({ type: "pushed", conversation }),
  call: (what, request) => line.call(what, request),
  queue,
  link: () => location.origin + "/c/" + encodeURIComponent(state.id),
  form: (form) => dispatch({ type: "form", form }),
  async copy(text, done) {
    let said = done;
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      said = t("share.by_hand");
    }
    dispatch({ type: "shared", text: said });
  },
  async explain(id) {
    const event = eventOf(state.conversation),
      known = state.explained[id];
    if (known && known.event === event) return;
    const assessed = state.conversation && state.conversation.assessment;
    const request = { ...evidence(state), causeId: id, locale: lang };
    // By the numbers that the card was assessed by; where the service no longer has them, by today's.
    const explain = (/** @type {string} */ version) => ask("explain", { ...request, modelVersion: version });
    try {
      const reply = await explain((assessed && assessed.modelVersion) || "").catch((/** @type {any} */ e) => {
        if (e.code === "INVALID_ARGUMENT") return explain("");
        throw e;
      });
      dispatch({ type: "explained", id, event, reply });
    } catch {
      /* the fold says so */
    }
  },
};

/** Whether there is room for suspects and repairs beside the conversation. */
const room = matchMedia("(min-width: 56.25em)");

function render() {
  const held = /** @type {any} */ (document.activeElement),
    found = current(state),
    now = looks && ["safety", "start"].includes(found.kind) ? { ...found, kind: "owner" } : found;
  // While an entry is on its way over a good line the old question stays, inert, rather than flicker.
  const holding = (state.link === "open" && state.queue.some((j) => j.do !== "set_tools")) || thinking(),
    wide = room.matches && place !== "framed";
  el("card").setAttribute("aria-busy", String(holding));
  const c = state.conversation,
    root = document.documentElement,
    page = el("page");
  if (
    state.measuring &&
    state.measuring !== state.editing &&
    !(now.kind === "ask" && now.info && now.info.id === state.measuring)
  )
    queueMicrotask(() => act.measure(""));
  if (!holding) {
    const safety = now.kind === "safety" && !state.editing,
      question = el("question");
    el("safety").hidden = !safety;
    mark(el("safety"), "part", safety ? "question" : null);
    patch(question, safety ? [] : viewQuestion(state, act, now.kind));
    const head = question.querySelector(".ask");
    mark(question, "part", safety ? null : "question");
    mark(question, "asks", head ? head.dataset.asks : null);
    el("say-label").textContent = t(now.kind === "ask" ? "say.label_or" : "say.label");
    el("text").placeholder = t(now.kind === "ask" ? "say.label_or" : "say.hint");
    page.dataset.kind = safety ? "safety" : state.editing ? "change" : now.kind;
  }
  if (frame) frame.viewFoot(state, looks);
  showSigns();
  showAsks();
  page.classList.toggle("begin", !judged(state) && now.kind === "safety");
  page.dataset.view = state.view;
  page.dataset.how = state.how;
  if (looks)
    root.dataset.looks =
      (c && c.closed) ||
      (now.info && now.info.safetyCard) ||
      dangers(state).some((d) => d.severity !== "SEVERITY_CAUTION")
        ? "stop"
        : "go";
  if (looks || (c && ((c.suggestions || []).length || c.assignedTo || c.closed))) act.hand();
  if (c && (c.recovery || c.settlement)) act.mend();
  if (c && now.info) act.explainTerms();
  if (now.info && now.info.tool && !state.catalogue) catalogue();
  patch(el("mended"), state.mend ? state.mend.viewMended(state, act) : []);
  patch(el("suggested"), state.hand ? state.hand.viewSuggested(state, act, looks ? "look" : place) : []);
  patch(el("told"), viewThread(state, act));
  patch(el("away"), state.away ? state.away.view(state) : []);
  patch(el("care"), viewCare(state, act));
  patch(el("face"), viewFace(state, act));
  showPicture(state, act);
  if (wide && c) act.sheet();
  const sheet = (c || state.view) && state.sheet;
  patch(el("sheet-body"), sheet ? sheet.viewSheet(state, act, wide) : []);
  patch(el("sheet-foot"), sheet ? sheet.viewFoot(state, act, wide) : []);
  patch(el("banner"), viewBanner(state, act));
  showCards();
  showDanger();
  showLink();
  el("menu").setAttribute("aria-expanded", String(state.view === "menu"));
  if (held && held.isConnected && held !== document.body && document.activeElement !== held) held.focus();
  if (!holding)
    follow(now.kind === "ask" && now.info ? now.info.id : now.kind === "offer" ? "offer" + now.offer.id : now.kind);
  if (now.kind === "opening" && !now.info) catalogue();
  unroll();
  // What scrolls can be scrolled by keys, and what does not is no stop on the way.
  for (const part of document.querySelectorAll(".upper"))
    part.scrollHeight > part.clientHeight ? part.setAttribute("tabindex", "0") : part.removeAttribute("tabindex");
}

let thoughtSince = 0;
/** The service thinks for a moment: the old question stays, inert. If it takes longer, that is said. */
function thinking() {
  if (!pending(state.conversation)) thoughtSince = 0;
  else if (!thoughtSince) {
    thoughtSince = Date.now();
    setTimeout(render, THOUGHT + 1);
  }
  return thoughtSince > 0 && Date.now() - thoughtSince < THOUGHT && document.querySelector("#question .ask") !== null;
}

/** @param {any} node @param {string} name @param {string | null | undefined} value */
const mark = (node, name, value) => {
  value ? (node.dataset[name] = value) : delete node.dataset[name];
};

/** The thread shows its last answer, unless somebody reads further up. */
let end = 0;
function unroll() {
  const log = el("log");
  if (log.scrollHeight === end) return;
  end = log.scrollHeight;
  log.scrollTop = end;
}

/**
 * Moves the focus to the question after an answer given here; one that comes by itself is only announced.
 * @param {string} id
 */
function follow(id) {
  const head = id === "safety" ? el("safety-title") : document.querySelector("#question .ask");
  const changed = id !== asked,
    first = asked === "",
    lost = document.activeElement === document.body;
  asked = id;
  if (!head || el("danger").open) return;
  // Whoever has begun to type goes on typing.
  if (moveFocus && (changed || lost) && document.activeElement !== el("text")) head.focus();
  else if (changed && !first) el("news").textContent = t("ask.now", { question: head.textContent || "" });
  moveFocus = false;
}

/** The cards come by themselves: a first look at the page needs none. @type {Promise<any> | null} */
let cards = null;
function showCards() {
  const c = state.conversation;
  if (!c) return;
  cards ||= more(import("./cards.js")).catch(() => {
    cards = null;
  });
  cards.then((m) => m && m.show(el("cards"), c, line, () => act.view("sums")));
}

let inDoubt = "";
/** What may be a danger is asked before all else, and where it is seen. */
function showAsks() {
  const open = looks ? [] : asks(state),
    first = open.length ? open[0].key : "";
  patch(el("doubt"), viewAsks(open, act));
  if (first && first !== inDoubt && !el("danger").open) el("doubt").querySelector("h2").focus();
  inDoubt = first;
}

/** Ticks what was told, whether the service knows of it yet or not. */
function showSigns() {
  const { all } = told(state);
  let any = false;
  for (const box of /** @type {any} */ (document.querySelectorAll("#safety input"))) {
    const sign = all.get(box.name);
    box.checked = !!sign && sign.state === box.value;
    any ||= box.checked;
  }
  el("none").textContent = t(any ? "safety.none_other" : "safety.none");
}

function showDanger() {
  const screen = el("danger"),
    shown = looks ? [] : onScreen(state),
    fresh = shown.length > 0;
  const which = shown.map((d) => d.id).join() + state.out;
  if (fresh) patch(screen, viewDanger(state, act));
  if (fresh && !screen.open) screen.showModal();
  if (fresh && which !== screen.dataset.which) {
    screen.scrollTop = 0;
    screen.querySelector("h2").focus();
  }
  screen.dataset.which = fresh ? which : "";
  if (!fresh && screen.open) screen.close();
}

function showLink() {
  const text = standing(state, Date.now()),
    bad = state.trouble || (state.link !== "open" && state.queue.length > 0);
  if (el("link").textContent !== text) el("link").textContent = text;
  el("line").className = bad ? "bad" : state.link;
  el("line").dataset.quiet = String(
    !state.trouble && state.link !== "waiting" && (state.link === "open" || state.queue.length === 0),
  );
  el("retry").hidden = state.link !== "waiting";
}

function wire() {
  for (const box of /** @type {any} */ (document.querySelectorAll("#safety input"))) {
    const label = () => t("safety." + box.name);
    box.onchange = () =>
      box.checked
        ? queue("answer", { observations: [{ id: box.name, state: box.value }] }, label(), [box.name])
        : queue("retract", { observationId: box.name }, t("line.was_back", { text: label() }), [box.name]);
  }
  el("none").onclick = () => {
    const { all } = told(state),
      ids = DENIED.filter((id) => !all.has(id));
    queue("answer", { observations: ids.map((id) => ({ id, state: "no" })) }, t("safety.none"), ids);
  };
  el("say").onsubmit = (/** @type {any} */ e) => {
    e.preventDefault();
    const text = /** @type {any} */ ((act.shorthand || String)(el("text").value.trim())),
      now = current(state);
    if (!text) return;
    el("text").value = "";
    queue("say", { text, askedId: now.kind === "ask" && now.info ? now.info.id : "" }, text, []);
  };
  el("retry").onclick = () => line.hurry();
  // Only the key acknowledges; a browser lets itself be kept from closing a dialog once, not twice.
  el("danger").oncancel = (/** @type {any} */ e) => e.preventDefault();
  el("danger").onclose = showDanger;
  addEventListener("online", () => line.hurry());
  // Whoever comes back to the page, from a call perhaps, meets a standing danger first.
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) {
      line.hurry();
      watch();
      dispatch({ type: "looked_again" });
    }
  });
  el("menu").hidden = el("alarm").hidden = false;
  el("menu").onclick = () => act.view(state.view === "menu" ? "" : "menu");
  el("alarm").onclick = () => alarm();
  room.onchange = () => render();
  document.addEventListener("keydown", (e) => {
    if (
      e.key === "Escape" &&
      state.view &&
      !el("danger").open &&
      !(/** @type {any} */ (e.target).matches("input, textarea, select"))
    )
      act.view("");
  });
  setInterval(() => !document.hidden && watch(), BEAT);
  setInterval(() => {
    if (state.link === "waiting") showLink();
    if (state.switchedOn && !document.hidden) patch(el("face"), viewFace(state, act));
  }, 1000);
}

/**
 * The signs of danger from anywhere: the card if it is not answered yet, else its answers in the thread, to be
 * changed.
 */
async function alarm() {
  if (!el("safety").hidden && state.view) await act.view("");
  if (!el("safety").hidden) return el("safety-title").focus();
  const card = /** @type {any} */ (document.querySelector("[data-line=safety_card] details"));
  if (!card) return;
  await act.view(room.matches ? "" : "thread");
  card.open = true;
  card.scrollIntoView({ block: "start" });
  card.querySelector("summary").focus();
}

/**
 * Keeps a choice for a year: the service reads it, so that the page comes as chosen.
 * @param {string} name
 * @param {string} value
 */
function remember(name, value) {
  document.cookie = `${name}=${value}; path=/; max-age=31536000; samesite=lax`;
}

/** Changes the language. Without a signal it stays as it is. @param {string} wanted */
async function change(wanted) {
  try {
    await speak(wanted);
  } catch {
    return;
  }
  remember("lang", lang);
  relabel();
  dispatch({ type: "language" });
  rules();
  watch();
  catalogue();
}

let near = false;
/**
 * Working without a signal is looked after once there is nothing else to do, and at once where it is needed.
 * @param {number} wait
 */
function away(wait) {
  const sw = place ? null : navigator.serviceWorker;
  if (!sw || near || !isSecureContext || (!wait && !sw.controller)) return;
  near = true;
  setTimeout(async () => {
    try {
      const found = await more(import("./offline.js"));
      const mounted = found.mount({ state: () => state, dispatch, call: line.call, act, kept });
      dispatch({ type: "away", away: found });
      await mounted;
    } catch {
      near = false;
    }
  }, wait);
}

let ruledIn = "";
/** Fetches the rules of danger where the page has none in its language. Until then the old ones hold. */
async function rules() {
  const locale = lang;
  if (!line.isOpen() || (learnt() && ruledIn === locale)) return;
  try {
    const listed = await line.call("list_dangers", { locale });
    if (locale !== lang) return;
    learn(listed);
    ruledIn = locale;
    dispatch({ type: "rules" });
  } catch {
    /* asked for again with the next line */
  }
}

try {
  learn(JSON.parse(el("rules").textContent || "null"));
} catch {
  /* asked for later */
}
// What was kept on this device may be older than the service's rules.
if (learnt() && !(navigator.serviceWorker && navigator.serviceWorker.controller)) {
  ruledIn = document.documentElement.lang;
}

// The texts come first. While there is no signal the safety card stands, for it needs none of this.
for (let spoken = false; !spoken; ) {
  try {
    await speak(document.documentElement.lang);
    spoken = true;
  } catch {
    await new Promise((go) => setTimeout(go, PAUSE));
  }
}
if (new URLSearchParams(location.search).has("lang")) remember("lang", lang);

const line = dial(
  (location.protocol === "https:" ? "wss://" : "ws://") +
    location.host +
    (place === "desk" ? "/desk/socket" : "/socket"),
  {
    link(link, at) {
      // The first of these comes while the line is still being made.
      queueMicrotask(() => {
        dispatch({ type: "link", link, at });
        if (link === "open") {
          watch();
          rules();
        }
        if (link !== "connecting") away(link === "open" ? IDLE : 0);
      });
    },
    push: (conversation) => dispatch({ type: "pushed", conversation }),
    broken,
  },
);
wire();
if (looks) {
  document.documentElement.dataset.looks = "";
  act.answer = (i, value, words) => state.hand && state.hand.suggest(state, act, i, value, words);
  for (const name of ["skip", "retract", "edit", "tool", "done"]) act[name] = () => {};
}
if (framed)
  import("./framed.js").then((m) => {
    frame = m;
    m.fit(query);
    render();
  });
if (place === "desk") more(import("./deskcard.js")).then((m) => m.mount(line, act, () => state));
