// @ts-check
/**
 * What a desk has beside a caller's card: who attends, notes, ticket, handing on, the end, the report, and a key for
 * each; the
 * other calls, where one of them must leave; and whatever is typed goes into the line.
 */
import { hear, show } from "./bell.js";
import { isAlarm } from "./calls.js";
import { h, patch } from "./dom.js";
import { dial } from "./socket.js";
import { eventOf } from "./state.js";
import { shorthand } from "./shorthand.js";
import { lang, region, t, why } from "./text.js";

/** @param {string} id @returns {any} */
const el = (id) => document.getElementById(id);
const OUTCOMES = ["SETTLED", "WORKSHOP", "OUT_OF_USE", "NOT_REACHED", "OTHER_APPLIANCE"],
  FINDERS = ["OWNER", "DESK", "WORKSHOP"],
  SURETIES = ["PROVED", "LIKELY", "GUESSED"],
  FORMS = ["PLAIN", "JSON", "CSV"];

let line = /** @type {any} */ (null),
  act = /** @type {any} */ (null);
let now = /** @type {() => any} */ (() => null);
const work = {
  record: /** @type {any} */ (null),
  open: "",
  outcome: "SETTLED",
  causes: /** @type {string[]} */ ([]),
  all: /** @type {any[]} */ ([]),
  form: "PLAIN",
  report: /** @type {any} */ (null),
  said: "",
  bad: "",
  keys: !/(^|; )keys=off/.test(document.cookie),
  event: 0,
  asking: false,
  code: "",
};

/** The keys and what each does: no letter among them, for letters are typed. @type {[string, string, () => any][]} */
const KEYS = [
  ["F1", "desk.keys", () => unfold("keys")],
  ["F2", "desk.take", () => take()],
  ["F3", "desk.report", () => unfold("report")],
  ["F4", "desk.spoken", () => spoken()],
  ["F6", "desk.hand_on", () => unfold("hand")],
  ["F7", "desk.ticket", () => unfold("ticket")],
  ["F8", "desk.note", () => unfold("note")],
  ["F9", "desk.close", () => unfold("close")],
  [
    "F10",
    "desk.queue",
    () => {
      location.href = "/desk";
    },
  ],
  ["⇧F2", "desk.take_alarm", () => alarm && attend(alarm)],
  ["1 … 9", "desk.key.answer", () => {}],
  ["0", "ask.cannot", () => press("#safety:not([hidden]) #none") || press("#question [data-unknown]")],
  [".", "ask.skip", () => press("#question [data-skip]")],
  ["Esc", "desk.key.leave", () => {}],
];

/** Presses what shows. @param {string} css */
function press(css) {
  const key = /** @type {any} */ (document.querySelector(css)),
    there = !!key && key.checkVisibility();
  if (there) key.click();
  return there;
}

const key = () =>
  Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

/**
 * Makes a call and shows the record that it answers.
 * @param {string} what
 * @param {Record<string, any>} request
 * @param {string} done
 */
async function deed(what, request, done) {
  work.bad = work.said = "";
  try {
    const reply = await line.call(what, { id: now().id, clientKey: key(), ...request });
    work.record = reply.record;
    work.open = "";
    work.said = done;
    el("panel").focus();
  } catch (fault) {
    const f = /** @type {any} */ (fault);
    work.bad =
      f.reason === "DANGER_STANDS"
        ? t("desk.unsafe")
        : f.reason === "REQUEST_INVALID" && what === "close"
          ? t("desk.lacks")
          : f.reason === "REQUEST_INVALID" || f.code === "FAILED_PRECONDITION"
            ? why(f)
            : t("desk.failed");
  }
  render();
}

const take = () => deed("assign", {}, t("desk.taken"));

/** A code for the caller to come back with, or to hand the call over by. */
async function spoken() {
  work.bad = work.said = "";
  try {
    work.code = (await line.call("make_code", { id: now().id })).code;
  } catch {
    work.bad = t("desk.failed");
  }
  render();
}

/** The call that people must leave for and nobody has, and all that wait. */
let alarm = "",
  waiting = 0;

/** Takes over another call, and goes there. This one stays as it stands. @param {string} id */
async function attend(id) {
  try {
    await line.call("assign", { id, clientKey: key() });
    location.href = "/desk/c/" + encodeURIComponent(id);
  } catch {
    work.bad = t("desk.failed");
    render();
  }
}

/** Unfolds a part of the panel, or folds it again. @param {string} what */
async function unfold(what) {
  work.open = work.open === what ? "" : what;
  work.bad = work.said = "";
  if (work.open === "close" && work.all.length === 0)
    try {
      work.all = (await line.call("list_causes", { locale: lang })).causes || [];
    } catch {
      /* those that lead are offered */
    }
  if (work.open === "report") await report();
  render();
  const first = /** @type {any} */ (
    document.querySelector("#panel .panel input:checked") ||
      document.querySelector("#panel .panel :is(input, textarea)")
  );
  if (first) first.focus();
}

async function report() {
  try {
    work.report = await line.call("get_report", { id: now().id, form: "REPORT_FORM_" + work.form, locale: lang });
  } catch {
    work.report = null;
    work.bad = t("desk.failed");
  }
  render();
}

/** Reads the record again when something has happened. */
async function refresh() {
  const c = now().conversation,
    event = eventOf(c);
  if (!c || work.asking || event === work.event) return;
  work.asking = true;
  try {
    work.record = (await line.call("get_record", { id: c.id })).record;
    work.event = event;
  } catch {
    /* with the next event */
  }
  work.asking = false;
  render();
  if (document.activeElement === document.body) question().focus();
}

/**
 * @param {string} name
 * @param {string[]} values
 * @param {string} chosen
 * @param {string} label
 * @param {(v: string) => string} words
 * @param {(v: string) => void} [pick]
 */
const radios = (name, values, chosen, label, words, pick) =>
  h(
    "fieldset",
    null,
    h("legend", null, label),
    values.map((v) =>
      h(
        "label",
        { key: v },
        h("input", { type: "radio", name, value: v, checked: v === chosen, onchange: pick && (() => pick(v)) }),
        words(v),
      ),
    ),
  );

function viewClose() {
  const causes = ((now().conversation && now().conversation.assessment) || {}).causes || [],
    lead = causes.slice(0, 6);
  const settled = work.outcome === "SETTLED";
  const send = (/** @type {any} */ e) => {
    e.preventDefault();
    const f = new FormData(e.target),
      ids = [...new Set([...f.getAll("cause"), f.get("other")].filter(Boolean))];
    const closing = { outcome: "OUTCOME_" + work.outcome, remark: f.get("remark") };
    deed(
      "close",
      {
        closing: settled
          ? {
              ...closing,
              causeIds: ids,
              foundBy: "FINDER_" + (f.get("finder") || "UNSPECIFIED"),
              surety: "SURETY_" + (f.get("surety") || "UNSPECIFIED"),
            }
          : closing,
      },
      t("desk.closed"),
    );
  };
  return h(
    "form",
    { class: "panel", key: "close", id: "close-form", onsubmit: send, novalidate: true },
    radios(
      "outcome",
      OUTCOMES,
      work.outcome,
      t("desk.outcome"),
      (v) => t("outcome.OUTCOME_" + v),
      (v) => {
        work.outcome = v;
        render();
      },
    ),
    settled &&
      h(
        "fieldset",
        null,
        h("legend", null, t("desk.causes")),
        lead.map((/** @type {any} */ c) =>
          h("label", { key: c.id }, h("input", { type: "checkbox", name: "cause", value: c.id }), c.title),
        ),
      ),
    settled &&
      h(
        "p",
        null,
        h("label", { for: "other-cause" }, t("desk.other_cause")),
        " ",
        h(
          "select",
          { name: "other", id: "other-cause" },
          h("option", { value: "" }, "–"),
          work.all
            .filter((c) => c.id !== "no_fault" && !lead.some((/** @type {any} */ l) => l.id === c.id))
            .map((c) => h("option", { key: c.id, value: c.id }, c.title)),
        ),
      ),
    settled && radios("finder", FINDERS, "", t("desk.found_by"), (v) => t("finder." + v)),
    settled && radios("surety", SURETIES, "", t("desk.surety"), (v) => t("surety." + v)),
    h("label", { for: "remark" }, t("desk.remark")),
    h("span", { class: "field" }, h("input", { id: "remark", name: "remark", type: "text", maxlength: "2000" })),
    h("button", { type: "submit", class: "go" }, t("desk.close")),
  );
}

/**
 * One field and a button.
 * @param {string} id
 * @param {string} label
 * @param {string} button
 * @param {(text: string) => void} send
 * @param {any} [more]
 */
const oneField = (id, label, button, send, more) =>
  h(
    "form",
    {
      class: "panel",
      key: id,
      id: id + "-form",
      novalidate: true,
      onsubmit: (/** @type {any} */ e) => {
        e.preventDefault();
        send(el(id).value.trim());
      },
    },
    h("label", { for: id }, label),
    h(
      "span",
      { class: "field" },
      h("input", { id, type: "text", maxlength: "2000", autocomplete: "off" }),
      h("button", { type: "submit", class: "go" }, button),
    ),
    more,
  );

function viewOpen() {
  switch (work.open) {
    case "note":
      return oneField(
        "note",
        t("desk.note_how"),
        t("desk.note"),
        (text) => text && deed("add_note", { text }, t("desk.noted")),
      );
    case "ticket":
      return oneField("ticket", t("desk.ticket_how"), t("desk.save_ticket"), (ticket) =>
        deed("set_ticket", { ticket }, t("desk.ticketed")),
      );
    case "hand":
      return oneField(
        "to",
        t("desk.hand_how"),
        t("desk.hand_on"),
        (to) =>
          deed(
            "assign",
            { ...(to ? { to } : { toQueue: true }), note: el("hand-note").value.trim() },
            t("desk.handed"),
          ),
        [
          h("label", { for: "hand-note" }, t("desk.hand_note")),
          h(
            "span",
            { class: "field" },
            h("input", { id: "hand-note", type: "text", maxlength: "2000", autocomplete: "off" }),
          ),
        ],
      );
    case "close":
      return viewClose();
    case "report":
      return h(
        "div",
        { class: "panel", key: "report" },
        radios(
          "form",
          FORMS,
          work.form,
          t("desk.report_form"),
          (v) => t("form." + v),
          (v) => {
            work.form = v;
            report();
          },
        ),
        h(
          "textarea",
          {
            id: "report",
            rows: "12",
            cols: "100",
            readonly: true,
            "aria-label": t("desk.report"),
            onfocus: (/** @type {any} */ e) => e.target.select(),
          },
          work.report ? work.report.text : "",
        ),
        h(
          "p",
          { class: "short" },
          h("button", { type: "button", class: "key", id: "report-copy", onclick: copy }, t("desk.copy")),
          h("button", { type: "button", class: "key", id: "report-save", onclick: save }, t("desk.save")),
        ),
      );
    case "keys":
      return h(
        "div",
        { class: "panel", key: "keys" },
        h(
          "ul",
          { class: "keys-list" },
          KEYS.map(([k, what]) => h("li", { key: k }, h("kbd", null, k), t(what))),
        ),
        h(
          "button",
          { type: "button", class: "small", id: "keys-switch", "aria-pressed": String(work.keys), onclick: switchKeys },
          t("desk.keys_on"),
        ),
      );
  }
  return null;
}

async function copy() {
  try {
    await navigator.clipboard.writeText(work.report.text);
    work.said = t("share.copied");
  } catch {
    work.said = t("share.by_hand");
  }
  render();
}

function save() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([work.report.text], { type: work.report.mediaType }));
  link.download = work.report.fileName;
  link.click();
  URL.revokeObjectURL(link.href);
}

function switchKeys() {
  work.keys = !work.keys;
  document.cookie = `keys=${work.keys ? "" : "off"}; path=/; max-age=31536000; samesite=lax`;
  showKeys();
  render();
}

/** Answers show the key that presses them, as long as they do. */
const showKeys = () => document.documentElement.toggleAttribute("data-keys", work.keys);

/** @param {string} k @param {string} name @param {() => any} does @param {boolean} [pressed] */
const deedKey = (k, name, does, pressed) =>
  h(
    "button",
    {
      key: name,
      type: "button",
      class: "small",
      "data-deed": name,
      "aria-expanded": pressed === undefined ? null : String(pressed),
      "aria-keyshortcuts": k,
      onclick: does,
    },
    t("desk." + name),
    " ",
    h("kbd", null, k),
  );

function render() {
  const r = work.record || {},
    ended = r.closing;
  const name = now().conversation && (work.record || {}).ticket;
  patch(
    el("panel"),
    [
      h(
        "p",
        { class: "who", key: "who" },
        h(
          "strong",
          null,
          ended
            ? t("outcome." + ended.outcome) + (r.closedBy ? " · " + r.closedBy : "")
            : r.assignedTo
              ? t("desk.held", { name: r.assignedTo })
              : t("desk.free"),
        ),
        name && h("span", { class: "ticket", id: "ticket-shown" }, name),
      ),
      h(
        "div",
        { class: "acts", key: "acts" },
        deedKey("F2", "take", take),
        deedKey("F4", "spoken", spoken),
        deedKey("F6", "hand_on", () => unfold("hand"), work.open === "hand"),
        deedKey("F7", "ticket", () => unfold("ticket"), work.open === "ticket"),
        deedKey("F8", "note", () => unfold("note"), work.open === "note"),
        ended
          ? h(
              "button",
              {
                key: "reopen",
                type: "button",
                class: "small",
                "data-deed": "reopen",
                onclick: () => deed("reopen", {}, t("desk.reopened")),
              },
              t("desk.reopen"),
            )
          : deedKey("F9", "close", () => unfold("close"), work.open === "close"),
        deedKey("F3", "report", () => unfold("report"), work.open === "report"),
        deedKey("F1", "keys", () => unfold("keys"), work.open === "keys"),
        h(
          "button",
          {
            key: "hide",
            type: "button",
            class: "small",
            "data-deed": "hide",
            "aria-pressed": String(!!r.hidden),
            onclick: () => deed("set_hidden", { hidden: !r.hidden }, t(r.hidden ? "desk.shown" : "desk.hidden")),
          },
          t("desk.hide"),
        ),
      ),
      h(
        "div",
        { key: "code", role: "status" },
        work.code && h("p", null, t("desk.read_out"), " ", h("strong", { class: "spoken", id: "spoken" }, work.code)),
      ),
      h("p", { key: "said", role: "status", class: "soft", id: "deed-said" }, work.said),
      h("p", { key: "bad", role: "alert", class: "bad", id: "deed-bad" }, work.bad),
      (r.notes || []).length > 0 &&
        h(
          "ul",
          { key: "notes", class: "deed-notes", "aria-label": t("desk.notes_label") },
          r.notes.map((/** @type {any} */ n) =>
            h(
              "li",
              { key: n.event },
              n.text,
              h(
                "span",
                { class: "soft" },
                ` — ${n.by}, ${new Date(n.at).toLocaleString(region(), { dateStyle: "short", timeStyle: "short" })}`,
              ),
            ),
          ),
        ),
      viewOpen(),
    ].filter(Boolean),
  );
}

/** @param {any} e */
function pressed(e) {
  if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
  const found = KEYS.find(([k]) => k === (e.shiftKey && e.key === "F2" ? "⇧F2" : e.key)),
    screen = el("danger").open;
  if (/^F\d/.test(e.key) && found) {
    e.preventDefault();
    return found[2]();
  }
  const typing = e.target.matches("input:not([type=radio], [type=checkbox]), textarea, select");
  if (e.key === "Escape" && !screen) {
    if (work.open) unfold(work.open);
    return question().focus();
  }
  if (e.key === "Enter" && e.target.id === "text" && !el("text").value) return question().focus();
  if (typing || screen || e.key.length !== 1 || e.key === " ") return;
  if (work.keys && /^[0-9.]$/.test(e.key) && answers(e.key)) return e.preventDefault();
  // Whatever else is typed is meant for the line, or for the number that is asked.
  const number = /** @type {any} */ (document.querySelector("#question .reading input"));
  (number && /[\d−-]/.test(e.key) ? number : el("text")).focus();
}

const question = () =>
  /** @type {any} */ (
    el("safety").hidden ? document.querySelector("#question .ask") || el("text") : el("safety-title")
  );

/** Presses what the digit stands beside. @param {string} digit */
function answers(digit) {
  if (digit === "0" || digit === ".")
    return (
      !document.querySelector("#question .reading") && !!(/** @type {any} */ (KEYS.find(([k]) => k === digit))[2]())
    );
  const css = el("safety").hidden ? "#question .keys .key" : ".signs label";
  const chosen = /** @type {any} */ (document.querySelectorAll(css)[Number(digit) - 1]);
  if (chosen) chosen.click();
  return !!chosen;
}

/** The other calls: how many wait, and whether people must leave in one of them. */
function listen() {
  const live = document.createElement("p"),
    band = document.createElement("div"),
    rest = document.createElement("a");
  band.id = "bell";
  live.setAttribute("role", "alert");
  live.className = "unseen";
  rest.href = "/desk";
  rest.className = "rest";
  rest.dataset.deed = "queue";
  el("banner").before(band, live);
  el("line").after(rest);
  const tell = () => {
    show(band, live, t("desk.title"), attend, "⇧F2");
    patch(rest, [t("desk.wait", { n: waiting }), " ", h("kbd", null, "F10")]);
  };
  const other = dial((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/desk/socket", {
    link(link) {
      if (link === "open") queueMicrotask(() => other.call("watch_list", { locale: lang }).catch(() => {}));
    },
    push() {},
    broken() {
      if (other.isOpen()) other.drop();
    },
    list(list) {
      const entries = list.entries || [],
        open = entries.filter((/** @type {any} */ x) => !x.assignedTo && x.id !== now().id);
      waiting = open.length;
      alarm = (open.find(isAlarm) || { id: "" }).id;
      hear(entries, now().id, Date.now());
      tell();
    },
  });
  setInterval(tell, 1000);
}

/** @param {any} to @param {any} acts @param {() => any} state */
export function mount(to, acts, state) {
  [line, act, now] = [to, acts, state];
  const style = document.createElement("link"),
    panel = document.createElement("section");
  style.rel = "stylesheet";
  style.href = new URL("desk.css", import.meta.url).href;
  document.head.append(style);
  panel.id = "panel";
  panel.tabIndex = -1;
  panel.setAttribute("aria-label", t("desk.heading"));
  el("card").prepend(panel);
  act.shorthand = (/** @type {string} */ text) => {
    question().focus();
    return shorthand(text);
  };
  showKeys();
  document.addEventListener("keydown", pressed);
  // The card renders at every change; its list of lines is as good a bell as any.
  new MutationObserver(refresh).observe(el("told"), { childList: true, subtree: true, characterData: true });
  setInterval(refresh, 2000);
  // Without a token the line is refused, and nothing says why; whoever is not signed in goes where that is done.
  const signedIn = async () => {
    const answer = await fetch("/desk/me").catch(() => null);
    if (answer && answer.status === 401) location.href = "/desk";
  };
  setInterval(() => !line.isOpen() && signedIn(), 5000);
  signedIn();
  listen();
  render();
  refresh();
}
